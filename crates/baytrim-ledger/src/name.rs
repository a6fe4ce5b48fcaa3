//! Names of streams and spools.

use std::borrow::Borrow;
use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use crate::limits::STREAM_NAME_BYTES_MAX;

/// Names a stream or a spool: 1 to 128 bytes of `a-z 0-9 . _ / -`.
///
/// No `/` at either end or twice in a row and no `..`, so that a name can never climb out of a directory.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StreamName(Arc<str>);

/// Says why a text cannot name a stream.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NameError {
    /// The name is empty or longer than the limit.
    #[error("a stream name has 1 to {max} bytes, this one has {actual}; shorten it")]
    Length {
        /// Bytes given.
        actual: usize,
        /// Bytes allowed.
        max: usize,
    },
    /// A character outside the allowed set.
    #[error(
        "stream name '{name}' has {character:?} at byte {at}; only a-z 0-9 . _ / - are allowed"
    )]
    Character {
        /// The name as given.
        name: String,
        /// The offending character.
        character: char,
        /// Where it is, in bytes from the start.
        at: usize,
    },
    /// A `/` at an end, `//` or `..`.
    #[error("stream name '{name}' must not start or end with '/', nor contain '//' or '..'")]
    Shape {
        /// The name as given.
        name: String,
    },
}

impl StreamName {
    /// Checks `name` and takes it.
    ///
    /// # Errors
    /// [`NameError`] says which rule is broken and where.
    pub fn new(name: &str) -> Result<Self, NameError> {
        let max = STREAM_NAME_BYTES_MAX;
        if name.is_empty() || name.len() > max {
            return Err(NameError::Length {
                actual: name.len(),
                max,
            });
        }
        if let Some((at, character)) = name.char_indices().find(|&(_, c)| !is_allowed(c)) {
            return Err(NameError::Character {
                name: name.to_owned(),
                character,
                at,
            });
        }
        if name.starts_with('/')
            || name.ends_with('/')
            || name.contains("//")
            || name.contains("..")
        {
            return Err(NameError::Shape {
                name: name.to_owned(),
            });
        }
        Ok(Self(name.into()))
    }

    /// Returns the name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

fn is_allowed(character: char) -> bool {
    matches!(character, 'a'..='z' | '0'..='9' | '.' | '_' | '/' | '-')
}

impl fmt::Display for StreamName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl fmt::Debug for StreamName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "StreamName({})", self.0)
    }
}

impl FromStr for StreamName {
    type Err = NameError;

    fn from_str(name: &str) -> Result<Self, NameError> {
        Self::new(name)
    }
}

impl AsRef<str> for StreamName {
    fn as_ref(&self) -> &str {
        &self.0
    }
}

impl Borrow<str> for StreamName {
    fn borrow(&self) -> &str {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, a name that could climb out of a directory or break an index key gets in.
    #[test]
    fn names_are_held_to_their_rules() {
        let longest = "a".repeat(STREAM_NAME_BYTES_MAX);
        for good in ["a", "jobs/j-12", "a.b_c-d/9", "0", longest.as_str()] {
            assert_eq!(
                StreamName::new(good).map(|n| n.to_string()),
                Ok(good.to_owned())
            );
        }
        let too_long = "a".repeat(STREAM_NAME_BYTES_MAX + 1);
        for bad in [
            "",
            "/a",
            "a/",
            "a//b",
            "a/../b",
            "..",
            "A",
            "a b",
            "ä",
            "a\0",
            "a\n",
            too_long.as_str(),
        ] {
            assert!(StreamName::new(bad).is_err(), "{bad:?} was accepted");
        }
        assert!(matches!(
            StreamName::new("ab€"),
            Err(NameError::Character {
                at: 2,
                character: '€',
                ..
            })
        ));
    }
}
