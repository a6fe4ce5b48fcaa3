//! Rules that the owner of a shop sets.

use serde::{Deserialize, Serialize};

/// Usual time for which a proposal can be approved, in seconds: 30 days. Common practice: an engine that was on the
/// dyno longer ago may not be the same any more.
pub const VALID_S: u64 = 30 * 24 * 3600;

/// Rules that the owner of a shop sets; the default holds until one is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Policy {
    /// Whether one person does everything here: who proposed may approve, and an owner may do all that a tuner and a
    /// reviewer may. Every verdict then says so.
    pub one_person: bool,
    /// Seconds for which a new proposal can be approved; none: for ever.
    pub proposal_valid_s: Option<u64>,
}

impl Default for Policy {
    fn default() -> Self {
        Self {
            one_person: false,
            proposal_valid_s: Some(VALID_S),
        }
    }
}
