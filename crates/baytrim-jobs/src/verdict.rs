//! Checking and deciding a verdict on a proposal.

use baytrim_estimate::limit::pairs_too_far_apart;
use baytrim_model::ids::{Actor, ProposalId, UnixMillis};
use baytrim_model::proposal::{NodeChange, Proposal};
use baytrim_model::record::JobEvent;
use baytrim_model::revision::{Revision, RevisionOrigin};
use sha2::{Digest, Sha256};

use crate::export::hex;
use crate::refusal::Refusal;
use crate::state::JobState;

/// Longest reason in bytes: a paragraph, not a report.
pub const REASON_BYTES_MAX: usize = 2000;

/// A verdict that somebody asks for.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// The proposal.
    pub proposal: ProposalId,
    /// The proposal's etag as its reviewer saw it.
    pub etag: String,
    /// Why.
    pub reason: String,
    /// When it is asked.
    pub at: UnixMillis,
    /// Who asks.
    pub by: Actor,
}

/// Returns the name of a proposal's very content: a verdict must quote it.
///
/// # Panics
/// Never: a proposal's keys are text.
pub fn etag(proposal: &Proposal) -> String {
    let bytes = serde_json::to_vec(proposal).expect("keys are text");
    hex(&Sha256::digest(bytes)[..16])
}

/// Returns the event of an approval. `nodes` are (rpm, plate percent) of those to take; empty takes
/// all that change.
///
/// # Errors
/// When the proposal is unknown, decided, stale or seen in another state, the reason is missing,
/// a node is none of the table's or none that changes, or the subset breaks the neighbour limit.
pub fn approve(state: &JobState, ask: &Ask, nodes: &[(f64, f64)]) -> Result<JobEvent, Refusal> {
    let proposal = check(state, ask)?;
    let nodes = chosen(state, proposal, nodes)?;
    let mut values = state.head().values.clone();
    for &node in &nodes {
        values[node] = proposal.nodes[node].after;
    }
    check_neighbours(state, &nodes, &values)?;
    Ok(JobEvent::ProposalApproved {
        proposal: ask.proposal,
        nodes,
        revision: Box::new(Revision {
            id: state.next_revision(),
            origin: RevisionOrigin::Approval {
                proposal: ask.proposal,
            },
            values,
            created_at: ask.at,
            created_by: ask.by.clone(),
            reason: ask.reason.trim().to_owned(),
        }),
    })
}

/// Returns the event of a rejection. A stale proposal can be rejected: it tidies up.
///
/// # Errors
/// When the proposal is unknown, decided or seen in another state, or the reason is missing.
pub fn reject(state: &JobState, ask: &Ask) -> Result<JobEvent, Refusal> {
    undecided(state, ask)?;
    Ok(JobEvent::ProposalRejected {
        proposal: ask.proposal,
        reason: ask.reason.trim().to_owned(),
    })
}

/// Checks that a reason is one.
///
/// # Errors
/// [`Refusal::Fields`] when it is empty or too long.
pub fn check_reason(reason: &str) -> Result<(), Refusal> {
    let length = reason.trim().len();
    if (1..=REASON_BYTES_MAX).contains(&length) {
        return Ok(());
    }
    Err(Refusal::field(
        "reason",
        format!("is {length} bytes long"),
        format!("say why in 1 to {REASON_BYTES_MAX} bytes; the record keeps it"),
    ))
}

fn undecided<'a>(state: &'a JobState, ask: &Ask) -> Result<&'a Proposal, Refusal> {
    check_reason(&ask.reason)?;
    let entry = state.proposal(ask.proposal)?;
    if let Some(verdict) = &entry.verdict {
        return Err(Refusal::Decided {
            job: state.id().clone(),
            proposal: ask.proposal,
            verdict: if verdict.approved.is_some() {
                "approved"
            } else {
                "rejected"
            },
            by: verdict.by.to_string(),
        });
    }
    if ask.etag.is_empty() {
        return Err(Refusal::field(
            "etag",
            "is empty",
            "quote the etag of the proposal that was reviewed",
        ));
    }
    if ask.etag != etag(&entry.proposal) {
        return Err(Refusal::EtagMismatch {
            what: format!("{}/{}", state.id(), ask.proposal),
        });
    }
    Ok(&entry.proposal)
}

fn check<'a>(state: &'a JobState, ask: &Ask) -> Result<&'a Proposal, Refusal> {
    let proposal = undecided(state, ask)?;
    let head = state.head().id;
    if proposal.base_revision != head {
        return Err(Refusal::Stale {
            job: state.id().clone(),
            proposal: ask.proposal,
            base: proposal.base_revision,
            head,
        });
    }
    Ok(proposal)
}

#[expect(
    clippy::float_cmp,
    reason = "both values come from the same table: unchanged means the very same number"
)]
fn changes(node: &NodeChange) -> bool {
    node.after != node.before
}

fn chosen(
    state: &JobState,
    proposal: &Proposal,
    asked: &[(f64, f64)],
) -> Result<Vec<usize>, Refusal> {
    let all = (0..proposal.nodes.len()).filter(|&node| changes(&proposal.nodes[node]));
    let all: Vec<usize> = all.collect();
    if all.is_empty() {
        return Err(Refusal::NothingToApprove {
            job: state.id().clone(),
            proposal: proposal.id,
        });
    }
    if asked.is_empty() {
        return Ok(all);
    }
    let mut nodes = Vec::with_capacity(asked.len());
    for (index, &(rpm, plate_percent)) in asked.iter().enumerate() {
        let field = format!("nodes[{index}]");
        let Some(node) = state.spec.axes.find(rpm, plate_percent) else {
            return Err(Refusal::field(
                field,
                format!("{rpm} rpm, {plate_percent} % is no node of the table"),
                "name nodes by the breakpoints of both axes",
            ));
        };
        if !changes(&proposal.nodes[node]) {
            return Err(Refusal::field(
                field,
                format!("nothing is proposed for {rpm} rpm, {plate_percent} %"),
                "choose among the nodes that change",
            ));
        }
        nodes.push(node);
    }
    nodes.sort_unstable();
    nodes.dedup();
    Ok(nodes)
}

/// Every limit but the neighbours' belongs to one node and holds for any part of a proposal.
fn check_neighbours(state: &JobState, nodes: &[usize], values: &[f64]) -> Result<(), Refusal> {
    let spec = &state.spec;
    let (axes, limits) = (&spec.axes, &spec.limits);
    let pairs = pairs_too_far_apart(axes, &spec.table, limits, &state.head().values, values)
        .map_err(|error| Refusal::field("nodes", error.to_string(), "take the whole proposal"))?;
    let Some(&(one, other)) = pairs.first() else {
        return Ok(());
    };
    let node = if nodes.contains(&one) { one } else { other };
    let (rpm, plate_percent) = axes.position(node);
    Err(Refusal::SubsetBreaksNeighbour {
        rpm,
        plate_percent,
        neighbour_percent: limits.neighbour_percent,
    })
}
