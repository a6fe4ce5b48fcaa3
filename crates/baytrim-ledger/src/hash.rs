//! SHA-256 digests and how they are written down.

use std::fmt;
use std::str::FromStr;

use sha2::{Digest as _, Sha256};

/// Is a SHA-256 digest (FIPS 180-4), shown as 64 lower-case hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hash(pub [u8; 32]);

impl Hash {
    /// The zero hash: the hash before the first record of a stream.
    pub const ZERO: Self = Self([0; 32]);

    /// Returns the digest of `bytes`.
    pub fn of(bytes: &[u8]) -> Self {
        let mut hasher = Hasher::new();
        hasher.update(bytes);
        hasher.finish()
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for byte in self.0 {
            write!(f, "{byte:02x}")?;
        }
        Ok(())
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Hash({self})")
    }
}

/// Says that a text is not a digest.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{text}' is not a SHA-256 digest: expected 64 lower-case hexadecimal digits")]
pub struct ParseHashError {
    /// What was given, at most its first 80 characters.
    pub text: String,
}

impl FromStr for Hash {
    type Err = ParseHashError;

    fn from_str(text: &str) -> Result<Self, ParseHashError> {
        let refuse = || ParseHashError {
            text: text.chars().take(80).collect(),
        };
        let digits = text.as_bytes();
        if digits.len() != 64 {
            return Err(refuse());
        }
        let mut bytes = [0; 32];
        for (byte, pair) in bytes.iter_mut().zip(digits.chunks_exact(2)) {
            let high = hex_digit(pair[0]).ok_or_else(refuse)?;
            let low = hex_digit(pair[1]).ok_or_else(refuse)?;
            *byte = high << 4 | low;
        }
        Ok(Self(bytes))
    }
}

fn hex_digit(character: u8) -> Option<u8> {
    match character {
        b'0'..=b'9' => Some(character - b'0'),
        b'a'..=b'f' => Some(character - b'a' + 10),
        _ => None,
    }
}

/// Computes a [`struct@Hash`] piece by piece.
#[derive(Clone, Default)]
pub struct Hasher(Sha256);

impl Hasher {
    /// Returns a hasher that has seen nothing.
    pub fn new() -> Self {
        Self(Sha256::new())
    }

    /// Takes in the next bytes.
    pub fn update(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    /// Returns the digest of all bytes taken in.
    pub fn finish(self) -> Hash {
        Hash(self.0.finalize().into())
    }
}

impl fmt::Debug for Hasher {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Hasher")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, hashes are not SHA-256 and no other program can check the ledger.
    /// Source: NIST FIPS 180-4 example vectors for "abc" and the 448-bit message.
    #[test]
    fn agrees_with_published_vectors() {
        assert_eq!(
            Hash::of(b"abc").to_string(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        assert_eq!(
            Hash::of(b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq").to_string(),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
        );
    }

    /// If this fails, a hash copied from a report cannot be given back.
    #[test]
    fn text_goes_both_ways_and_bad_text_is_refused() {
        let hash = Hash::of(b"abc");
        assert_eq!(hash.to_string().parse(), Ok(hash));
        for bad in [
            "",
            "00",
            &"g".repeat(64),
            &"A".repeat(64),
            &"0".repeat(65),
            &"é".repeat(32),
        ] {
            assert!(bad.parse::<Hash>().is_err(), "{bad} was accepted");
        }
    }
}
