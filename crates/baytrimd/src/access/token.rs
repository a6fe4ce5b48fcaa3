//! A token itself: made once, shown once, kept nowhere but with whom it stands for.

use baytrim_model::shop::{TOKEN_ID_BYTES, TokenHash, TokenId};
use sha2::{Digest as _, Sha256};

use crate::fault::InternalFault;

/// What every token begins with, so that people and secret scanners know one when they see it.
const PREFIX: &str = "baytrim_";

/// Letters of a secret: with 5 bits each, 160 bits, which nobody guesses.
pub const SECRET_BYTES: usize = 32;

const ALPHABET: &[u8; 32] = b"abcdefghijklmnopqrstuvwxyz234567";

/// A token, `baytrim_{id}_{secret}`.
#[derive(Clone, PartialEq, Eq)]
pub struct Token {
    id: TokenId,
    text: String,
}

impl Token {
    /// Makes a new one.
    ///
    /// # Errors
    /// When the system gives no random bytes.
    pub fn make() -> Result<Self, InternalFault> {
        let text = format!(
            "{PREFIX}{}_{}",
            random(TOKEN_ID_BYTES)?,
            random(SECRET_BYTES)?
        );
        Self::parse(&text).ok_or(InternalFault::Impossible("a token that was made is none"))
    }

    /// Returns the token that `text` is.
    pub fn parse(text: &str) -> Option<Self> {
        let (id, secret) = text.strip_prefix(PREFIX)?.split_once('_')?;
        let is_secret =
            secret.len() == SECRET_BYTES && secret.bytes().all(|byte| ALPHABET.contains(&byte));
        let id = id.parse().ok().filter(|_| is_secret)?;
        let text = text.to_owned();
        Some(Self { id, text })
    }

    /// Returns its public name.
    pub fn id(&self) -> &TokenId {
        &self.id
    }

    /// Returns it as it is shown to whom it stands for.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Returns what the ledger keeps of it.
    pub fn hash(&self) -> TokenHash {
        TokenHash(Sha256::digest(&self.text).into())
    }
}

impl std::fmt::Debug for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Token({}, ..)", self.id)
    }
}

/// Returns `length` random letters of 5 bits each.
///
/// # Errors
/// When the system gives no random bytes.
pub(crate) fn random(length: usize) -> Result<String, InternalFault> {
    let mut bytes = vec![0; length];
    getrandom::fill(&mut bytes).map_err(InternalFault::Random)?;
    let letter = |byte: u8| char::from(ALPHABET[usize::from(byte & 31)]);
    Ok(bytes.into_iter().map(letter).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, a cut or changed token is looked up as if it were one, or tokens repeat.
    #[test]
    fn only_whole_tokens_are_tokens() {
        let token = Token::make().expect("random bytes");
        assert_ne!(token, Token::make().expect("random bytes"));
        assert_eq!(Token::parse(token.text()), Some(token.clone()));
        for length in 0..token.text().len() {
            assert_eq!(Token::parse(&token.text()[..length]), None, "{length}");
        }
        for wrong in [
            format!("{}a", token.text()),
            token.text().to_uppercase(),
            token.text().replacen("baytrim", "bytrim", 1),
            format!(" {}", token.text()),
        ] {
            assert_eq!(Token::parse(&wrong), None, "{wrong}");
        }
        assert!(!format!("{token:?}").contains(&token.text()[20..]));
    }
}
