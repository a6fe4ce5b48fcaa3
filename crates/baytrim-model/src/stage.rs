//! A state of the vehicle that pulls belong to.

use serde::{Deserialize, Serialize};

use crate::ids::StageId;
use crate::vehicle::VehicleRecord;

/// What a stage is, in the order in which a job usually passes them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StageKind {
    /// The vehicle as it came to the shop.
    AsItCame,
    /// Parts that change its breathing are fitted, the table is still the old one.
    PartsFitted,
    /// A starting table is loaded, taken from another job or made by hand.
    StartingTable,
    /// The table was corrected from pulls.
    Tuned,
    /// Something else, which its title says.
    Other,
}

impl StageKind {
    /// Every kind.
    pub const ALL: [Self; 5] = [
        Self::AsItCame,
        Self::PartsFitted,
        Self::StartingTable,
        Self::Tuned,
        Self::Other,
    ];

    /// Returns the name as records and scripts write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::AsItCame => "as_it_came",
            Self::PartsFitted => "parts_fitted",
            Self::StartingTable => "starting_table",
            Self::Tuned => "tuned",
            Self::Other => "other",
        }
    }

    /// Returns the title that a stage of the kind has where nobody gives one.
    pub fn usual_title(self) -> &'static str {
        match self {
            Self::AsItCame => "as it came",
            Self::PartsFitted => "parts fitted, old table",
            Self::StartingTable => "starting table",
            Self::Tuned => "tuned",
            Self::Other => "",
        }
    }
}

/// A state of the vehicle that pulls belong to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stage {
    /// Its number in the job; `s1` is the vehicle as it came.
    pub id: StageId,
    /// What it is.
    pub kind: StageKind,
    /// What people call it, 1 to 120 bytes.
    pub title: String,
    /// Free words: which parts, which table; empty where nobody said.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub notes: String,
    /// What is other from this stage on: the cut on the overrun, secondary air.
    #[serde(default, skip_serializing_if = "VehicleRecord::is_empty")]
    pub vehicle: VehicleRecord,
}
