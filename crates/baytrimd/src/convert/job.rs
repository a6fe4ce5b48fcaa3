//! Jobs.

use baytrim_api::v1;
use baytrim_jobs::job_file::Attachments;
use baytrim_jobs::standing::JobStanding;
use baytrim_jobs::{JobBrief, JobFacts, Refusal};
use baytrim_ledger::Head;
use baytrim_model::engine::Engine;
use baytrim_model::ids::UnixMillis;
use baytrim_model::job::JobSpec;
use baytrim_model::library::Vehicle;
use baytrim_model::limits::Limits;
use baytrim_model::table::TableContent;

use super::name;
use super::time::timestamp;
use crate::clock;
use crate::fault::Fault;
use crate::limits::{ATTACHMENTS_MAX, JOB_FILE_BYTES_MAX};
use crate::shop::Loaded;

/// Returns a job with its table and limits.
pub fn whole(job: &Loaded) -> v1::Job {
    let spec = &job.state.spec;
    v1::Job {
        axes: Some(v1::Axes {
            rpm: spec.axes.rpm.breakpoints().to_vec(),
            plate_percent: spec.axes.plate_percent.breakpoints().to_vec(),
        }),
        target_lambda_ratio: spec.target_lambda.clone(),
        limits: Some(limits(&spec.limits)),
        ..brief(&JobBrief::of(&job.state), &job.head)
    }
}

/// Returns a job without table and limits; `head` is that of its records.
pub fn brief(job: &JobBrief, head: &Head) -> v1::Job {
    let now = clock::now();
    let waiting = job.waiting(now);
    v1::Job {
        create_time: Some(timestamp(job.opened_at)),
        creator: job.opened_by.to_string(),
        head_revision: job.in_force.to_string(),
        pull_count: u32::try_from(job.pull_count).unwrap_or(u32::MAX),
        open_proposals: waiting
            .map(|id| name::proposal(&job.facts.id, id))
            .collect(),
        etag: etag(head),
        standing: standing(job.standing(now)).into(),
        stage: job.stage.to_string(),
        ..facts(&job.facts)
    }
}

/// Returns a job that is only checked, not opened.
pub fn checked(spec: &JobSpec, at: UnixMillis) -> v1::Job {
    v1::Job {
        axes: Some(v1::Axes {
            rpm: spec.axes.rpm.breakpoints().to_vec(),
            plate_percent: spec.axes.plate_percent.breakpoints().to_vec(),
        }),
        target_lambda_ratio: spec.target_lambda.clone(),
        limits: Some(limits(&spec.limits)),
        create_time: Some(timestamp(at)),
        ..facts(&JobFacts::of(spec))
    }
}

/// Returns the etag of a job: the seal of its last record, which changes with anything of the job.
pub fn etag(head: &Head) -> String {
    head.hash.to_string()
}

/// Checks that an etag, where one was given, is that of the job as it is now.
///
/// # Errors
/// [`Refusal::EtagMismatch`].
pub fn check_etag(job: &Loaded, given: &str) -> Result<(), Refusal> {
    if given.is_empty() || given == etag(&job.head) {
        return Ok(());
    }
    Err(Refusal::EtagMismatch {
        what: format!("job {}", job.state.id()),
    })
}

/// Returns the attachments of a request, checked for size.
///
/// # Errors
/// When there are too many, or one or the job file is too large, or two have one name.
pub fn attachments(request: &mut v1::CreateJobRequest) -> Result<Attachments, Fault> {
    let max = JOB_FILE_BYTES_MAX;
    if request.job_file.len() > max {
        return Err(too_large("the job file".to_owned()));
    }
    if request.attachments.len() > ATTACHMENTS_MAX {
        let problem = format!("there are {}", request.attachments.len());
        let remedy = format!("send {ATTACHMENTS_MAX} at the most");
        return Err(Refusal::field("attachments", problem, remedy).into());
    }
    let mut attachments = Attachments::new();
    for (index, file) in request.attachments.drain(..).enumerate() {
        if file.content.len() > max {
            return Err(too_large(format!("attachment {:?}", file.file_name)));
        }
        if attachments
            .insert(file.file_name.clone(), file.content)
            .is_some()
        {
            let field = format!("attachments[{index}].file_name");
            let problem = format!("{:?} is there twice", file.file_name);
            return Err(Refusal::field(field, problem, "send each file once").into());
        }
    }
    Ok(attachments)
}

fn too_large(what: String) -> Fault {
    Fault::TooLarge {
        what,
        max: JOB_FILE_BYTES_MAX as u64,
        remedy: "a table of 64 x 64 nodes has a tenth of it; check that the right file was given",
    }
}

fn facts(job: &JobFacts) -> v1::Job {
    let dead_time_ms = match job.content {
        TableContent::TotalTimeMs { dead_time_ms } => dead_time_ms,
        _ => 0.0,
    };
    v1::Job {
        name: name::job(&job.id),
        title: job.title.clone(),
        notes: job.notes.clone(),
        engine: Some(engine(&job.engine)),
        fuel: Some(v1::Fuel {
            display_name: job.fuel.name.clone(),
            stoichiometric_afr: job.fuel.stoichiometric_afr,
        }),
        content: content(job.content).into(),
        dead_time_ms,
        resolution: job.resolution,
        bays: job.bays.iter().map(ToString::to_string).collect(),
        vehicle: job.vehicle.as_ref().map(vehicle),
        ..v1::Job::default()
    }
}

/// Returns what a vehicle is.
pub fn vehicle(vehicle: &Vehicle) -> v1::Vehicle {
    v1::Vehicle {
        model: vehicle.model.clone(),
        generation: vehicle.generation.clone(),
        parts: vehicle.parts.clone(),
    }
}

/// Returns the facts of an engine.
pub fn engine(engine: &Engine) -> v1::Engine {
    v1::Engine {
        strokes: engine.strokes.into(),
        displacement_cc: engine.displacement_cc,
        cylinders: engine.cylinders.into(),
    }
}

pub(crate) fn standing(standing: JobStanding) -> v1::JobStanding {
    match standing {
        JobStanding::Waiting => v1::JobStanding::Waiting,
        JobStanding::InWork => v1::JobStanding::InWork,
        JobStanding::InReview => v1::JobStanding::InReview,
        JobStanding::Done => v1::JobStanding::Done,
    }
}

fn content(content: TableContent) -> v1::TableContent {
    match content {
        TableContent::Percent => v1::TableContent::Percent,
        TableContent::Factor => v1::TableContent::Factor,
        TableContent::VolumetricEfficiency => v1::TableContent::VolumetricEfficiency,
        TableContent::EffectiveTimeMs => v1::TableContent::EffectiveTimeMs,
        TableContent::TotalTimeMs { .. } => v1::TableContent::TotalTimeMs,
    }
}

fn limits(limits: &Limits) -> v1::Limits {
    let walls = limits.walls.iter().map(|wall| v1::Wall {
        rpm_min: wall.rpm_min,
        rpm_max: wall.rpm_max,
        plate_percent_min: wall.plate_percent_min,
        plate_percent_max: wall.plate_percent_max,
        lambda_ratio_max: wall.lambda_max,
    });
    v1::Limits {
        step_percent: limits.step_percent,
        total_percent: limits.total_percent,
        neighbour_percent: limits.neighbour_percent,
        deadband_percent: limits.deadband_percent,
        leanest_lambda_ratio: limits.leanest_lambda,
        walls: walls.collect(),
        lean_confidence: limits.lean_confidence,
        standard_error_percent_max: limits.standard_error_percent_max,
        visits_min: limits.visits_min,
        borrowed_changes: limits.borrowed_changes,
    }
}
