//! Comments on a proposal and on its nodes.

use baytrim_model::ids::ProposalId;
use baytrim_model::proposal::Proposal;
use baytrim_model::record::{JobEvent, NodePlace};

use crate::refusal::Refusal;
use crate::state::JobState;

/// Longest comment in bytes: a paragraph, not a report.
pub const COMMENT_BYTES_MAX: usize = 2000;

/// Most comments on one proposal: a talk, not an archive.
pub const COMMENTS_MAX: usize = 200;

/// Returns the event of a comment on a proposal, or on one of its nodes. Decided and stale proposals take comments
/// too: what comes to light later belongs there.
///
/// # Errors
/// When there is no such proposal or node, the text is empty or too long, or there are too many already.
pub fn event(
    state: &JobState,
    proposal: ProposalId,
    node: Option<NodePlace>,
    text: &str,
) -> Result<JobEvent, Refusal> {
    let entry = state.proposal(proposal)?;
    let text = text.trim();
    if !(1..=COMMENT_BYTES_MAX).contains(&text.len()) {
        return Err(Refusal::field(
            "text",
            format!("is {} bytes long", text.len()),
            format!("write 1 to {COMMENT_BYTES_MAX} bytes"),
        ));
    }
    if let Some(place) = node {
        check_place(state, &entry.proposal, place)?;
    }
    if entry.comments.len() >= COMMENTS_MAX {
        return Err(Refusal::CommentsFull {
            job: state.id().clone(),
            proposal,
            max: COMMENTS_MAX,
        });
    }
    Ok(JobEvent::CommentMade {
        proposal,
        number: entry.next_comment(),
        node,
        text: text.to_owned(),
    })
}

fn check_place(state: &JobState, proposal: &Proposal, place: NodePlace) -> Result<(), Refusal> {
    let NodePlace { rpm, plate_percent } = place;
    if !proposal.table.is_fuel() {
        return Err(Refusal::field(
            "node",
            "is one of the fuel table",
            "comment on the proposal for the grip table as a whole",
        ));
    }
    if state.spec.axes.find(rpm, plate_percent).is_none() {
        return Err(Refusal::field(
            "node",
            format!("{rpm} rpm, {plate_percent} % is no node of the table"),
            "name nodes by the breakpoints of both axes",
        ));
    }
    Ok(())
}
