//! One immutable state of a table.

use serde::{Deserialize, Serialize};

use crate::ids::{Actor, ProposalId, RevisionId, UnixMillis};

/// Where a revision came from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum RevisionOrigin {
    /// The table that came with the vehicle.
    Base,
    /// An approved proposal.
    Approval {
        /// The proposal.
        proposal: ProposalId,
    },
    /// An earlier revision, put back.
    Revert {
        /// The earlier revision.
        to: RevisionId,
    },
}

/// One immutable state of a table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Revision {
    /// Its number in the job.
    pub id: RevisionId,
    /// Where it came from.
    pub origin: RevisionOrigin,
    /// Table values in node order, in the table's unit.
    pub values: Vec<f64>,
    /// When it was made.
    pub created_at: UnixMillis,
    /// Who made it.
    pub created_by: Actor,
    /// Why.
    pub reason: String,
}
