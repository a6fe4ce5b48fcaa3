//! Beginning a stage, putting a pull under another one.

use baytrim_model::ids::{PullId, StageId};
use baytrim_model::record::JobEvent;
use baytrim_model::stage::{Stage, StageKind};
use baytrim_model::vehicle::VehicleRecord;

use crate::refusal::Refusal;
use crate::state::JobState;
use crate::verdict::check_reason;

/// Longest title of a stage in bytes: a line.
pub const TITLE_BYTES_MAX: usize = 120;

/// Longest notes of a stage in bytes: a paragraph, not a report.
pub const NOTES_BYTES_MAX: usize = 2000;

/// Most stages of a job: it has four as a rule.
pub const STAGES_MAX: usize = 100;

/// Returns the event that begins a stage; an empty `title` stands for the usual one of the kind. `vehicle` says what of
/// it is other from then on.
///
/// # Errors
/// When there is no title, title or notes are too long, or the job has too many stages already.
pub fn begin(
    state: &JobState,
    kind: StageKind,
    title: &str,
    notes: &str,
    vehicle: VehicleRecord,
) -> Result<JobEvent, Refusal> {
    let title = match title.trim() {
        "" => kind.usual_title(),
        given => given,
    };
    if !(1..=TITLE_BYTES_MAX).contains(&title.len()) {
        return Err(Refusal::field(
            "title",
            format!("is {} bytes long", title.len()),
            format!("say what the stage is in 1 to {TITLE_BYTES_MAX} bytes"),
        ));
    }
    let notes = notes.trim();
    if notes.len() > NOTES_BYTES_MAX {
        return Err(Refusal::field(
            "notes",
            format!("is {} bytes long", notes.len()),
            format!("say it in {NOTES_BYTES_MAX} bytes"),
        ));
    }
    let problems = vehicle.problems("overrun");
    if !problems.is_empty() {
        return Err(Refusal::Fields(problems));
    }
    if state.stages.len() >= STAGES_MAX {
        return Err(Refusal::field(
            "parent",
            format!("has {STAGES_MAX} stages already"),
            "go on in the last one",
        ));
    }
    Ok(JobEvent::StageBegun {
        stage: Stage {
            id: state.next_stage(),
            kind,
            title: title.to_owned(),
            notes: notes.to_owned(),
            vehicle,
        },
    })
}

/// Returns the event that puts a pull under another stage.
///
/// # Errors
/// When there is no such pull or stage, the pull is there already, or the reason is missing.
pub fn assign(
    state: &JobState,
    pull: PullId,
    stage: StageId,
    reason: &str,
) -> Result<JobEvent, Refusal> {
    check_reason(reason)?;
    let (entry, stage) = (state.pull(pull)?, state.stage_of(stage)?.stage.id);
    if entry.stage == stage {
        return Err(Refusal::field(
            "stage",
            format!("{pull} belongs to {stage} already"),
            "name another stage",
        ));
    }
    Ok(JobEvent::PullAssigned {
        pull,
        stage,
        reason: reason.trim().to_owned(),
    })
}
