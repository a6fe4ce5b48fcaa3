//! Putting an earlier revision back.

use baytrim_model::ids::{Actor, RevisionId, UnixMillis};
use baytrim_model::record::JobEvent;
use baytrim_model::revision::{Revision, RevisionOrigin};

use crate::refusal::Refusal;
use crate::state::JobState;
use crate::verdict::check_reason;

/// Returns the event that puts revision `to` back, as a new revision.
///
/// # Errors
/// When there is no such revision, its values are in force already, or the reason is missing.
pub fn event(
    state: &JobState,
    to: RevisionId,
    reason: &str,
    at: UnixMillis,
    by: &Actor,
) -> Result<JobEvent, Refusal> {
    check_reason(reason)?;
    let earlier = state.revision(to)?;
    let head = state.head_of(&earlier.table);
    if head.is_some_and(|head| head.values == earlier.values) {
        return Err(Refusal::AlreadyInForce {
            job: state.id().clone(),
            revision: to,
        });
    }
    Ok(JobEvent::TableReverted {
        revision: Box::new(Revision {
            id: state.next_revision(),
            origin: RevisionOrigin::Revert { to },
            table: earlier.table.clone(),
            values: earlier.values.clone(),
            created_at: at,
            created_by: by.clone(),
            reason: reason.trim().to_owned(),
        }),
    })
}
