//! What a message says.

use baytrim_api::v1::Proposal;
use baytrim_api::v1::proposal::State;
use baytrim_ledger::Hash;
use baytrim_model::ids::UnixMillis;
use serde::Serialize;
use sha2::{Digest as _, Sha256};

/// Digits of a message's id: none of two of a shop are the same by chance.
const ID_DIGITS: usize = 32;

/// A message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Message {
    /// The same for each try, and for the same event told again after a restart.
    pub(super) id: String,
    /// `proposal.waiting` or `proposal.closed`.
    pub(super) kind: &'static str,
    /// The body, JSON.
    pub(super) body: String,
}

#[derive(Serialize)]
struct Body<'a> {
    #[serde(rename = "type")]
    kind: &'a str,
    timestamp: String,
    data: Data<'a>,
}

/// No names of persons: the message may lie on machines of others.
#[derive(Serialize)]
struct Data<'a> {
    proposal: &'a str,
    job: &'a str,
    state: &'a str,
    change_count: u32,
    off_target_percent: Option<f64>,
    done_probability: Option<f64>,
    page: String,
}

impl Message {
    /// Returns what is to be told of a proposal as it now stands.
    pub(super) fn of(proposal: &Proposal, now: UnixMillis) -> Self {
        let (kind, state) = match proposal.state() {
            State::Open => ("proposal.waiting", "open"),
            State::Approved => ("proposal.closed", "approved"),
            State::Rejected => ("proposal.closed", "rejected"),
            State::Stale => ("proposal.closed", "stale"),
            State::Expired => ("proposal.closed", "expired"),
            State::Unspecified => ("proposal.closed", "closed"),
        };
        let job = proposal.name.split('/').nth(1).unwrap_or_default();
        let body = Body {
            kind,
            timestamp: jiff::Timestamp::from_millisecond(now.0)
                .map_or_else(|_| "unknown".to_owned(), |time| time.to_string()),
            data: Data {
                proposal: &proposal.name,
                job,
                state,
                change_count: proposal.change_count,
                off_target_percent: proposal.fit.as_ref().map(|fit| fit.off_target_percent),
                done_probability: proposal.done.as_ref().map(|done| done.probability),
                page: format!("/{}", proposal.name),
            },
        };
        let said = format!("{} {} {state}", proposal.name, proposal.etag);
        let id = Hash(Sha256::digest(said.as_bytes()).into()).to_string();
        Self {
            id: format!("msg_{}", &id[..ID_DIGITS]),
            kind,
            body: serde_json::to_string(&body).expect("texts and finite numbers"),
        }
    }
}
