//! Proposals of the inbox for scripts, one object each.

use baytrim_api::v1::Proposal;
use serde::Serialize;

use crate::name::{number, short};
use crate::render::proposal::state_name;

/// A proposal that waits, or waits no longer.
#[derive(Debug, Serialize)]
pub(crate) struct WaitingJson<'a> {
    id: String,
    state: &'static str,
    base_revision: &'a str,
    create_time: Option<String>,
    creator: &'a str,
    change_count: u32,
    off_target_percent: Option<f64>,
    reviewer: Option<&'a str>,
}

impl<'a> From<&'a Proposal> for WaitingJson<'a> {
    fn from(proposal: &'a Proposal) -> Self {
        let verdict = proposal.verdict.as_ref();
        Self {
            id: short(&proposal.name),
            state: state_name(proposal.state()),
            base_revision: number(&proposal.base_revision),
            create_time: proposal.create_time.map(|time| time.to_string()),
            creator: &proposal.creator,
            change_count: proposal.change_count,
            off_target_percent: proposal.fit.as_ref().map(|fit| fit.off_target_percent),
            reviewer: verdict.map(|verdict| verdict.reviewer.as_str()),
        }
    }
}
