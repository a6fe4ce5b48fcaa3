//! Where a job stands in the shop, closing it and taking it up again.

use baytrim_model::record::JobEvent;

use crate::refusal::Refusal;
use crate::state::JobState;
use crate::verdict::check_reason;

/// Where a job stands in the shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum JobStanding {
    /// It was opened, and nobody has sent a pull.
    Waiting,
    /// It is in work.
    InWork,
    /// A proposal of it waits for a verdict.
    InReview,
    /// It was closed, and nothing was done since.
    Done,
}

/// Returns the event that closes a job.
///
/// # Errors
/// When it is closed already, or the reason is missing.
pub fn close(state: &JobState, reason: &str) -> Result<JobEvent, Refusal> {
    check_reason(reason)?;
    if state.closed.is_some() {
        return Err(stands(state, "closed"));
    }
    Ok(JobEvent::JobClosed {
        reason: reason.trim().to_owned(),
    })
}

/// Returns the event that takes a closed job up again.
///
/// # Errors
/// When it is in work, or the reason is missing.
pub fn reopen(state: &JobState, reason: &str) -> Result<JobEvent, Refusal> {
    check_reason(reason)?;
    if state.closed.is_none() {
        return Err(stands(state, "in work"));
    }
    Ok(JobEvent::JobReopened {
        reason: reason.trim().to_owned(),
    })
}

fn stands(state: &JobState, what: &'static str) -> Refusal {
    Refusal::AlreadyStands {
        job: state.id().clone(),
        what,
    }
}
