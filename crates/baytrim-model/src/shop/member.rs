//! A person, a bay or a script that a shop knows.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::Role;
use crate::field::FieldError;
use crate::ids::{Actor, BayName};

/// Longest name of a member in bytes: it stands in every record.
pub const MEMBER_NAME_BYTES_MAX: usize = 80;

/// Name of a member: 1 to 80 bytes of letters, digits, single inner spaces and `. ' _ -`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct MemberName(String);

impl MemberName {
    /// Returns the name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Returns the name by which members are told apart: `M. Ottoway` and `m. ottoway` are one.
    pub fn key(&self) -> String {
        self.0.to_lowercase()
    }

    /// Returns the name as records carry it.
    pub fn actor(&self) -> Actor {
        Actor(self.0.clone())
    }
}

impl FromStr for MemberName {
    type Err = FieldError;

    fn from_str(text: &str) -> Result<Self, FieldError> {
        let inner = |letter: char| letter.is_alphanumeric() || " .'_-".contains(letter);
        let good = (1..=MEMBER_NAME_BYTES_MAX).contains(&text.len())
            && text.chars().all(inner)
            && text.starts_with(char::is_alphanumeric)
            && !text.ends_with(' ')
            && !text.contains("  ");
        if good {
            return Ok(Self(text.to_owned()));
        }
        Err(FieldError::new(
            "member",
            format!("{text:?} is no name"),
            "write 1 to 80 bytes: letters, digits, single inner spaces and . ' _ -",
        ))
    }
}

impl TryFrom<String> for MemberName {
    type Error = FieldError;

    fn try_from(text: String) -> Result<Self, FieldError> {
        text.parse()
    }
}

impl From<MemberName> for String {
    fn from(name: MemberName) -> Self {
        name.0
    }
}

impl fmt::Display for MemberName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A person, a bay or a script that a shop knows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Member {
    /// Its name: who did something, in every record.
    pub name: MemberName,
    /// What it may do; at least one.
    pub roles: BTreeSet<Role>,
    /// The one bay whose pulls it may submit; none: any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bay: Option<BayName>,
    /// The person who answers for it, where it is a script: what it proposes counts as theirs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answered_by: Option<MemberName>,
}

#[cfg(test)]
mod tests {
    use super::MemberName;

    /// If this fails, a record could name somebody by a text that reads like another's, or like a path.
    #[test]
    fn names_are_plain() {
        for good in [
            "kim",
            "M. Ottoway",
            "Jörg",
            "bay-east",
            "night script_2",
            "O'Hara",
        ] {
            assert!(good.parse::<MemberName>().is_ok(), "{good}");
        }
        for bad in [
            "",
            " kim",
            "kim ",
            "a  b",
            "../x",
            "a/b",
            "a\nb",
            "-x",
            "a\u{202e}b",
            "a@b",
            &"x".repeat(81),
        ] {
            assert!(bad.parse::<MemberName>().is_err(), "{bad:?}");
        }
    }
}
