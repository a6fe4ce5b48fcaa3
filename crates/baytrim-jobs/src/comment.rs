//! Comments on a proposal, on its nodes and on its grips.

use baytrim_model::ids::ProposalId;
use baytrim_model::proposal::Proposal;
use baytrim_model::record::{CommentPlace, JobEvent, NodePlace};

use crate::refusal::Refusal;
use crate::state::JobState;

/// Longest comment in bytes: a paragraph, not a report.
pub const COMMENT_BYTES_MAX: usize = 2000;

/// Most comments on one proposal: a talk, not an archive.
pub const COMMENTS_MAX: usize = 200;

/// Returns the event of a comment on a proposal, or on one of its nodes or grips. Decided and stale proposals take comments
/// too: what comes to light later belongs there.
///
/// # Errors
/// When there is no such proposal, node or grip, the text is empty or too long, or there are too many already.
pub fn event(
    state: &JobState,
    proposal: ProposalId,
    node: Option<CommentPlace>,
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

fn check_place(state: &JobState, proposal: &Proposal, place: CommentPlace) -> Result<(), Refusal> {
    let wrong = |problem: String, remedy: &str| Err(Refusal::field("node", problem, remedy));
    match (place, &proposal.grip) {
        (CommentPlace::Node(NodePlace { rpm, plate_percent }), None) => {
            if state.spec.axes.find(rpm, plate_percent).is_none() {
                return wrong(
                    format!("{rpm} rpm, {plate_percent} % is no node of the table"),
                    "name nodes by the breakpoints of both axes",
                );
            }
        }
        (CommentPlace::Grip { grip_percent }, Some(grip)) => {
            let is_row = |percent: f64| (percent - grip_percent).abs() < 1e-9;
            if !grip.rows.iter().any(|row| is_row(row.grip_percent)) {
                return wrong(
                    format!("{grip_percent} % is no grip of the table"),
                    "name a breakpoint of the table",
                );
            }
        }
        (CommentPlace::Node(_), Some(_)) => {
            return wrong(
                "is one of the fuel table".to_owned(),
                "name a grip of the grip table, or nothing",
            );
        }
        (CommentPlace::Grip { .. }, None) => {
            return wrong(
                "is a grip, and the proposal is for the fuel table".to_owned(),
                "name a node of the fuel table, or nothing",
            );
        }
    }
    Ok(())
}
