//! Checking and deciding a verdict on a proposal.

mod choice;
mod grip_choice;
mod reason;

use baytrim_model::ids::{Actor, ProposalId, UnixMillis};
use baytrim_model::proposal::Proposal;
use baytrim_model::record::{Duty, JobEvent};
use baytrim_model::revision::{Revision, RevisionOrigin};
use sha2::{Digest, Sha256};

use crate::export::hex;
use crate::refusal::Refusal;
use crate::state::{JobState, ProposalStanding};

pub use choice::{Choice, NodeChoice};
pub use grip_choice::broken_by;
pub use reason::{BORROWED_BELOW, REASON_BYTES_MAX, check_reason};

/// What records name where nobody said who asks.
const UNKNOWN: &str = "unknown";

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

/// The shop's rules as far as verdicts go by them.
#[derive(Clone, Copy)]
pub struct Rules<'a> {
    /// Whether one person does everything: who asked for a proposal may then approve it.
    pub one_person: bool,
    /// Says whether two names are one person, or a person and the script that they answer for.
    pub is_same_hand: &'a dyn Fn(&Actor, &Actor) -> bool,
}

impl Rules<'_> {
    fn duty(&self) -> Option<Duty> {
        self.one_person.then_some(Duty::OnePerson)
    }
}

/// Returns the name of a proposal's very content: a verdict must quote it.
///
/// # Panics
/// Never: a proposal's keys are text.
pub fn etag(proposal: &Proposal) -> String {
    let bytes = serde_json::to_vec(proposal).expect("keys are text");
    hex(&Sha256::digest(bytes)[..16])
}

/// Returns the event of an approval of what `choice` takes.
///
/// # Errors
/// When the proposal is unknown, decided, stale, expired or seen in another state; when who asks also asked for it;
/// when the reason is missing, or the choice is none that the proposal and the limits allow.
pub fn approve(
    state: &JobState,
    ask: &Ask,
    choice: &Choice,
    rules: &Rules<'_>,
) -> Result<JobEvent, Refusal> {
    let proposal = undecided(state, ask)?;
    check_in_time(state, proposal, ask)?;
    check_hands(state, proposal, ask, rules)?;
    let taken = match &proposal.grip {
        Some(grip) => grip_choice::taken(state, proposal, grip, choice)?,
        None => choice::taken(state, proposal, choice)?,
    };
    reason::check_reason_for(&ask.reason, proposal, &taken.nodes)?;
    Ok(JobEvent::ProposalApproved {
        proposal: ask.proposal,
        nodes: taken.nodes,
        reduced: taken.reduced,
        duty: rules.duty(),
        revision: Box::new(Revision {
            id: state.next_revision(),
            origin: RevisionOrigin::Approval {
                proposal: ask.proposal,
            },
            table: proposal.table.clone(),
            values: taken.values,
            created_at: ask.at,
            created_by: ask.by.clone(),
            reason: ask.reason.trim().to_owned(),
        }),
    })
}

/// Returns what keeps `choice` from being approved whoever asks and whatever the reason; none where nothing does.
pub fn obstacle(
    state: &JobState,
    proposal: ProposalId,
    choice: &Choice,
    at: UnixMillis,
) -> Option<Refusal> {
    let proposal = match state.proposal(proposal) {
        Ok(entry) => &entry.proposal,
        Err(refusal) => return Some(refusal),
    };
    let ask = Ask {
        proposal: proposal.id,
        etag: etag(proposal),
        reason: "asked only".to_owned(),
        at,
        by: Actor("asked only".to_owned()),
    };
    let rules = Rules {
        one_person: true,
        is_same_hand: &|_, _| false,
    };
    approve(state, &ask, choice, &rules).err()
}

/// Returns the event of a rejection. A stale or expired proposal can be rejected: it tidies up. So can one's own:
/// withdrawing needs no second pair of eyes.
///
/// # Errors
/// When the proposal is unknown, decided or seen in another state, or the reason is missing.
pub fn reject(state: &JobState, ask: &Ask, rules: &Rules<'_>) -> Result<JobEvent, Refusal> {
    check_reason(&ask.reason)?;
    undecided(state, ask)?;
    Ok(JobEvent::ProposalRejected {
        proposal: ask.proposal,
        reason: ask.reason.trim().to_owned(),
        duty: rules.duty(),
    })
}

fn undecided<'a>(state: &'a JobState, ask: &Ask) -> Result<&'a Proposal, Refusal> {
    let entry = state.proposal(ask.proposal)?;
    if let Some(verdict) = &entry.verdict {
        let revision = verdict.approved.as_ref().map(|(revision, _)| *revision);
        return Err(Refusal::Decided {
            job: state.id().clone(),
            proposal: ask.proposal,
            verdict: if revision.is_some() {
                "approved"
            } else {
                "rejected"
            },
            by: verdict.by.to_string(),
            at: verdict.at,
            revision,
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

fn check_in_time(state: &JobState, proposal: &Proposal, ask: &Ask) -> Result<(), Refusal> {
    let job = state.id().clone();
    match state.standing(state.proposal(proposal.id)?, ask.at) {
        ProposalStanding::Stale => Err(Refusal::Stale {
            job,
            proposal: proposal.id,
            base: proposal.base_revision,
            head: state
                .head_of(&proposal.table)
                .map_or(proposal.base_revision, |head| head.id),
        }),
        ProposalStanding::Expired => Err(Refusal::Expired {
            job,
            proposal: proposal.id,
            at: proposal.expires_at().unwrap_or(proposal.created_at),
            valid_s: proposal.valid_s.unwrap_or_default(),
        }),
        ProposalStanding::Open | ProposalStanding::Approved | ProposalStanding::Rejected => Ok(()),
    }
}

/// A name that nobody knows may be anybody's, the other one's too.
fn check_hands(
    state: &JobState,
    proposal: &Proposal,
    ask: &Ask,
    rules: &Rules<'_>,
) -> Result<(), Refusal> {
    if rules.one_person {
        return Ok(());
    }
    let unknown = |what, remedy| Refusal::HandUnknown {
        job: state.id().clone(),
        proposal: proposal.id,
        what,
        remedy,
    };
    if ask.by.0 == UNKNOWN {
        return Err(unknown("who approves it", "say who you are"));
    }
    if proposal.created_by.0 == UNKNOWN {
        let remedy = "have somebody compute it again under their name";
        return Err(unknown("who asked for it", remedy));
    }
    if (rules.is_same_hand)(&proposal.created_by, &ask.by) {
        return Err(Refusal::SameHand {
            job: state.id().clone(),
            proposal: proposal.id,
            proposer: proposal.created_by.to_string(),
            reviewer: ask.by.to_string(),
        });
    }
    Ok(())
}
