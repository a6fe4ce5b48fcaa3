//! Names of jobs, bays, pulls, proposals, revisions, people and requests.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::field::FieldError;

/// Longest job or bay name in bytes; it becomes part of file and stream names.
pub const SLUG_BYTES_MAX: usize = 48;

/// Returns what is wrong with `text` as a job or bay name.
fn slug_problem(text: &str) -> Option<String> {
    if text.is_empty() || text.len() > SLUG_BYTES_MAX {
        return Some(format!("is {} bytes long", text.len()));
    }
    let outer = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit();
    let bytes = text.as_bytes();
    let inside = bytes.iter().all(|&byte| outer(byte) || byte == b'-');
    if !inside || !outer(bytes[0]) || !outer(bytes[bytes.len() - 1]) {
        return Some(format!("{text:?} has other characters"));
    }
    None
}

macro_rules! slug {
    ($(#[$doc:meta])* $name:ident, $field:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(String);

        impl $name {
            /// Returns the name as text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl FromStr for $name {
            type Err = FieldError;

            fn from_str(text: &str) -> Result<Self, FieldError> {
                match slug_problem(text) {
                    None => Ok(Self(text.to_owned())),
                    Some(problem) => Err(FieldError::new(
                        $field,
                        problem,
                        "use 1 to 48 lower-case letters, digits and inner hyphens",
                    )),
                }
            }
        }

        impl TryFrom<String> for $name {
            type Error = FieldError;

            fn try_from(text: String) -> Result<Self, FieldError> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(name: $name) -> Self {
                name.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }
    };
}

slug! {
    /// Name of a job: 1 to 48 lower-case letters, digits and inner hyphens, unique in the shop.
    JobId, "job"
}
slug! {
    /// Name of a bay: 1 to 48 lower-case letters, digits and inner hyphens.
    BayName, "bay"
}
slug! {
    /// Name of a riding mode: 1 to 48 lower-case letters, digits and inner hyphens.
    ModeName, "mode"
}

impl ModeName {
    /// Returns the mode of pulls that name none.
    pub fn unnamed() -> Self {
        Self("unnamed".to_owned())
    }
}

/// Returns the name that a job gets from its title: lower case, everything else a hyphen.
///
/// # Errors
/// When nothing of the title is left.
pub fn slug_of_title(title: &str) -> Result<JobId, FieldError> {
    let mut slug = String::new();
    for letter in title.chars() {
        if letter.is_ascii_alphanumeric() {
            slug.push(letter.to_ascii_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('-') {
            slug.push('-');
        }
    }
    slug.truncate(SLUG_BYTES_MAX);
    slug.trim_end_matches('-').parse()
}

macro_rules! numbered {
    ($(#[$doc:meta])* $name:ident, $letter:literal, $field:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(pub u32);

        impl FromStr for $name {
            type Err = FieldError;

            fn from_str(text: &str) -> Result<Self, FieldError> {
                text.strip_prefix($letter)
                    .filter(|digits| digits.bytes().all(|byte| byte.is_ascii_digit()))
                    .and_then(|digits| digits.parse().ok())
                    .map(Self)
                    .ok_or_else(|| {
                        FieldError::new(
                            $field,
                            format!("{text:?} is not one"),
                            concat!("write it as ", $letter, "1, ", $letter, "2, and so on"),
                        )
                    })
            }
        }

        impl TryFrom<String> for $name {
            type Error = FieldError;

            fn try_from(text: String) -> Result<Self, FieldError> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(id: $name) -> Self {
                id.to_string()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, concat!($letter, "{}"), self.0)
            }
        }
    };
}

numbered! {
    /// Number of a pull within its job, from `p1`.
    PullId, "p", "pull"
}
numbered! {
    /// Number of a proposal within its job, from `c1` (c for correction).
    ProposalId, "c", "proposal"
}
numbered! {
    /// Number of a table revision within its job; `r0` is the base table.
    RevisionId, "r", "revision"
}

numbered! {
    /// Number of a stage within its job; `s1` is the vehicle as it came.
    StageId, "s", "stage"
}
numbered! {
    /// Number of a revision of a bay's channel map, from `m1`.
    ChannelMapId, "m", "channel map"
}

/// Who did something: a person's or script's name as the daemon knows it, 1 to 80 bytes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Actor(pub String);

impl fmt::Display for Actor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A client's own name for one request, 1 to 64 printable ASCII bytes; the same one twice is the same request.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct RequestId(pub String);

/// A moment: milliseconds since 1970-01-01T00:00:00Z, as the daemon's clock had it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct UnixMillis(pub i64);
