//! What shows who somebody is, as the ledger keeps it: never the token itself.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::MemberName;
use crate::field::FieldError;
use crate::ids::UnixMillis;

/// Bytes of a token's public name.
pub const TOKEN_ID_BYTES: usize = 8;

/// Public name of a token: 8 letters `a-z` and digits `2-7`. It opens nothing.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct TokenId(String);

impl TokenId {
    /// Returns the name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for TokenId {
    type Err = FieldError;

    fn from_str(text: &str) -> Result<Self, FieldError> {
        let known = |byte: u8| byte.is_ascii_lowercase() || (b'2'..=b'7').contains(&byte);
        if text.len() == TOKEN_ID_BYTES && text.bytes().all(known) {
            return Ok(Self(text.to_owned()));
        }
        Err(FieldError::new(
            "token",
            format!("{text:?} is no name of a token"),
            "write the 8 letters and digits that `baytrim token list` shows",
        ))
    }
}

impl TryFrom<String> for TokenId {
    type Error = FieldError;

    fn try_from(text: String) -> Result<Self, FieldError> {
        text.parse()
    }
}

impl From<TokenId> for String {
    fn from(id: TokenId) -> Self {
        id.0
    }
}

impl fmt::Display for TokenId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// SHA-256 of a whole token, written as 64 hexadecimal digits.
///
/// A token is 160 random bits, so that no slow hash is needed: those are for what people make up themselves.
#[derive(Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct TokenHash(pub [u8; 32]);

impl TryFrom<String> for TokenHash {
    type Error = FieldError;

    fn try_from(text: String) -> Result<Self, FieldError> {
        let wrong = || FieldError::new("sha256", "is no SHA-256", "write 64 hexadecimal digits");
        if text.len() != 64 || !text.is_ascii() {
            return Err(wrong());
        }
        let mut hash = [0; 32];
        for (index, byte) in hash.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&text[2 * index..2 * index + 2], 16).map_err(|_| wrong())?;
        }
        Ok(Self(hash))
    }
}

impl From<TokenHash> for String {
    fn from(hash: TokenHash) -> Self {
        const DIGITS: [char; 16] = [
            '0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c', 'd', 'e', 'f',
        ];
        let digits = |byte: &u8| [byte >> 4, byte & 15].map(|half| DIGITS[usize::from(half)]);
        hash.0.iter().flat_map(digits).collect()
    }
}

impl fmt::Debug for TokenHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("TokenHash(..)")
    }
}

/// A token as it was issued.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TokenIssue {
    /// Its public name.
    pub id: TokenId,
    /// Whom it stands for.
    pub member: MemberName,
    /// SHA-256 of the whole token.
    pub sha256: TokenHash,
    /// When it stops being good; none: never.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires_at: Option<UnixMillis>,
}
