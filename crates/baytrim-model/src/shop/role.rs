//! What somebody may do in a shop.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::field::FieldError;

/// What somebody may do in a shop; one member can have several.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Submits pulls.
    Bay,
    /// Opens jobs, submits pulls, has proposals computed.
    Tuner,
    /// Gives verdicts and puts revisions back.
    Reviewer,
    /// Says who may do what.
    Owner,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 4] = [Self::Bay, Self::Tuner, Self::Reviewer, Self::Owner];

    /// Returns the name as files, wire and command line write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Bay => "bay",
            Self::Tuner => "tuner",
            Self::Reviewer => "reviewer",
            Self::Owner => "owner",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl FromStr for Role {
    type Err = FieldError;

    fn from_str(text: &str) -> Result<Self, FieldError> {
        Self::ALL
            .into_iter()
            .find(|role| role.as_str() == text)
            .ok_or_else(|| {
                FieldError::new(
                    "role",
                    format!("{text:?} is none"),
                    "write bay, tuner, reviewer or owner",
                )
            })
    }
}
