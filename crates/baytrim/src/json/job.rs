//! Jobs for scripts.

use baytrim_api::v1::{Job, Limits, RenderJobSheetResponse, TableContent, Wall};
use serde::Serialize;

use super::library::VehicleJson;
use crate::name::{number, short};
use crate::render::job::{content_name, standing_name};

/// A job; axes, targets and limits are null or empty in lists.
#[derive(Debug, Serialize)]
pub(crate) struct JobJson<'a> {
    id: Option<String>,
    title: &'a str,
    notes: &'a str,
    vehicle: Option<VehicleJson<'a>>,
    engine: Option<EngineJson>,
    fuel: Option<FuelJson<'a>>,
    rpm: Option<&'a [f64]>,
    plate_percent: Option<&'a [f64]>,
    content: &'static str,
    dead_time_ms: Option<f64>,
    resolution: f64,
    target_lambda: &'a [f64],
    limits: Option<LimitsJson>,
    bays: &'a [String],
    create_time: Option<String>,
    creator: &'a str,
    head_revision: &'a str,
    pull_count: u32,
    open_proposals: Vec<String>,
    etag: &'a str,
    standing: Option<&'static str>,
    stage: &'a str,
}

/// The shop's jobs.
#[derive(Debug, Serialize)]
pub(crate) struct JobsJson<'a> {
    jobs: Vec<JobJson<'a>>,
}

#[derive(Debug, Serialize)]
struct EngineJson {
    strokes: u32,
    displacement_cc: f64,
    cylinders: u32,
}

#[derive(Debug, Serialize)]
struct FuelJson<'a> {
    name: &'a str,
    stoichiometric_afr: f64,
}

#[derive(Debug, Serialize)]
struct LimitsJson {
    step_percent: f64,
    total_percent: f64,
    neighbour_percent: f64,
    deadband_percent: f64,
    leanest_lambda: f64,
    walls: Vec<WallJson>,
    lean_confidence: f64,
    standard_error_percent_max: f64,
    visits_min: u32,
    borrowed_changes: bool,
}

#[derive(Debug, Serialize)]
struct WallJson {
    rpm_min: f64,
    rpm_max: f64,
    plate_percent_min: f64,
    plate_percent_max: f64,
    lambda_max: f64,
}

impl<'a> From<&'a Job> for JobJson<'a> {
    fn from(job: &'a Job) -> Self {
        let id = short(&job.name);
        Self {
            title: &job.title,
            notes: &job.notes,
            vehicle: job.vehicle.as_ref().map(VehicleJson::from),
            engine: job.engine.as_ref().map(|engine| EngineJson {
                strokes: engine.strokes,
                displacement_cc: engine.displacement_cc,
                cylinders: engine.cylinders,
            }),
            fuel: job.fuel.as_ref().map(|fuel| FuelJson {
                name: &fuel.display_name,
                stoichiometric_afr: fuel.stoichiometric_afr,
            }),
            rpm: job.axes.as_ref().map(|axes| axes.rpm.as_slice()),
            plate_percent: job.axes.as_ref().map(|axes| axes.plate_percent.as_slice()),
            content: content_name(job.content()),
            dead_time_ms: (job.content() == TableContent::TotalTimeMs).then_some(job.dead_time_ms),
            resolution: job.resolution,
            target_lambda: &job.target_lambda_ratio,
            limits: job.limits.as_ref().map(limits),
            bays: &job.bays,
            create_time: job.create_time.map(|time| time.to_string()),
            creator: &job.creator,
            head_revision: number(&job.head_revision),
            pull_count: job.pull_count,
            open_proposals: job
                .open_proposals
                .iter()
                .map(|name| format!("{id}/{}", number(name)))
                .collect(),
            etag: &job.etag,
            standing: standing_name(job.standing()),
            stage: &job.stage,
            id: (!id.is_empty()).then_some(id),
        }
    }
}

impl<'a> JobsJson<'a> {
    /// Returns `jobs`.
    pub(crate) fn new(jobs: &'a [Job]) -> Self {
        Self {
            jobs: jobs.iter().map(JobJson::from).collect(),
        }
    }
}

fn limits(limits: &Limits) -> LimitsJson {
    LimitsJson {
        step_percent: limits.step_percent,
        total_percent: limits.total_percent,
        neighbour_percent: limits.neighbour_percent,
        deadband_percent: limits.deadband_percent,
        leanest_lambda: limits.leanest_lambda_ratio,
        walls: limits.walls.iter().map(wall).collect(),
        lean_confidence: limits.lean_confidence,
        standard_error_percent_max: limits.standard_error_percent_max,
        visits_min: limits.visits_min,
        borrowed_changes: limits.borrowed_changes,
    }
}

fn wall(wall: &Wall) -> WallJson {
    WallJson {
        rpm_min: wall.rpm_min,
        rpm_max: wall.rpm_max,
        plate_percent_min: wall.plate_percent_min,
        plate_percent_max: wall.plate_percent_max,
        lambda_max: wall.lambda_ratio_max,
    }
}

/// A job's sheet that was written; its bytes are in the file.
#[derive(Debug, Serialize)]
pub(crate) struct SheetJson<'a> {
    job: String,
    file_name: &'a str,
    media_type: &'a str,
    sha256: &'a str,
    page_count: u32,
    record_count: u64,
    output: Option<String>,
}

impl<'a> SheetJson<'a> {
    /// Returns what is said of a sheet of `job` that went to `output`, none being standard output.
    pub(crate) fn new(
        job: String,
        sheet: &'a RenderJobSheetResponse,
        output: Option<String>,
    ) -> Self {
        Self {
            job,
            file_name: &sheet.file_name,
            media_type: &sheet.media_type,
            sha256: &sheet.sha256,
            page_count: sheet.page_count,
            record_count: sheet.record_count,
            output,
        }
    }
}
