//! One immutable state of a table.

use serde::{Deserialize, Serialize};

use crate::ids::{Actor, ModeName, ProposalId, RevisionId, UnixMillis};

/// Which of a job's tables something is about. Each has its own revision in force; their numbers are one row.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum TableKind {
    /// The fuel table.
    #[default]
    Fuel,
    /// The table from grip to plate of a riding mode.
    Grip {
        /// The riding mode.
        mode: ModeName,
    },
}

impl TableKind {
    /// Returns whether it is the fuel table: what every record of an earlier time is about.
    pub fn is_fuel(&self) -> bool {
        *self == Self::Fuel
    }

    /// Returns the riding mode; none of the fuel table.
    pub fn mode(&self) -> Option<&ModeName> {
        match self {
            Self::Fuel => None,
            Self::Grip { mode } => Some(mode),
        }
    }
}

/// Where a revision came from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
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
#[serde(deny_unknown_fields)]
pub struct Revision {
    /// Its number in the job.
    pub id: RevisionId,
    /// Where it came from.
    pub origin: RevisionOrigin,
    /// Which table it is a state of.
    #[serde(default, skip_serializing_if = "TableKind::is_fuel")]
    pub table: TableKind,
    /// Table values in node order, in the table's unit; of a grip table plate in percent, engine speed by engine
    /// speed.
    pub values: Vec<f64>,
    /// When it was made.
    pub created_at: UnixMillis,
    /// Who made it.
    pub created_by: Actor,
    /// Why.
    pub reason: String,
}
