//! How records are chained: pure functions, the same for every store.

use crate::hash::{Hash, Hasher};
use crate::name::StreamName;
use crate::record::{Head, Record};

/// Sets record hashes apart from every other hash that the ledger computes.
const DOMAIN: &[u8; 14] = b"baytrim record";
/// Version of the encoding below.
const VERSION: u8 = 1;

/// Returns the hash that chains one record.
///
/// It is the SHA-256 of, in this order (integers little-endian):
/// the 14 bytes `baytrim record`, version `1` (u8), length of the stream name (u32), the name,
/// seq (u64), hash of the record before (32 bytes), length of the body (u64), the body.
pub fn record_hash(stream: &StreamName, seq: u64, prev_hash: &Hash, body: &[u8]) -> Hash {
    let mut hasher = Hasher::new();
    let name = stream.as_str().as_bytes();
    hasher.update(DOMAIN);
    hasher.update(&[VERSION]);
    hasher.update(&u32::try_from(name.len()).unwrap_or(u32::MAX).to_le_bytes());
    hasher.update(name);
    hasher.update(&seq.to_le_bytes());
    hasher.update(&prev_hash.0);
    hasher.update(&(body.len() as u64).to_le_bytes());
    hasher.update(body);
    hasher.finish()
}

/// Returns the record that follows `head` in `stream` and carries `body`.
pub fn seal(stream: &StreamName, head: &Head, body: Vec<u8>) -> Record {
    let hash = record_hash(stream, head.next_seq, &head.hash, &body);
    Record {
        stream: stream.clone(),
        seq: head.next_seq,
        prev_hash: head.hash,
        hash,
        body,
    }
}

/// Says how a record fails to follow the one before it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ChainError {
    /// The number is not the next one.
    #[error("stream {stream}: record {actual} stands where {expected} belongs")]
    Seq {
        /// The stream.
        stream: StreamName,
        /// The number that belongs there.
        expected: u64,
        /// The number found.
        actual: u64,
    },
    /// The link to the record before is wrong.
    #[error(
        "stream {stream}, record {seq}: it follows {actual}, but the record before it hashes to {expected}"
    )]
    Link {
        /// The stream.
        stream: StreamName,
        /// The record.
        seq: u64,
        /// Hash of the record before.
        expected: Hash,
        /// The hash that the record names.
        actual: Hash,
    },
    /// The content does not have the hash that it claims.
    #[error("stream {stream}, record {seq}: its content hashes to {actual}, not to {expected}")]
    Content {
        /// The stream.
        stream: StreamName,
        /// The record.
        seq: u64,
        /// The hash that the record claims.
        expected: Hash,
        /// The hash of its content.
        actual: Hash,
    },
}

/// Checks that `record` follows `head` and has the hash that it claims; returns the head after it.
///
/// # Errors
/// [`ChainError`] names the stream, the record and both values.
pub fn check(head: &Head, record: &Record) -> Result<Head, ChainError> {
    let stream = || record.stream.clone();
    if record.seq != head.next_seq {
        return Err(ChainError::Seq {
            stream: stream(),
            expected: head.next_seq,
            actual: record.seq,
        });
    }
    if record.prev_hash != head.hash {
        let (expected, actual) = (head.hash, record.prev_hash);
        return Err(ChainError::Link {
            stream: stream(),
            seq: record.seq,
            expected,
            actual,
        });
    }
    let actual = record_hash(&record.stream, record.seq, &record.prev_hash, &record.body);
    if actual != record.hash {
        return Err(ChainError::Content {
            stream: stream(),
            seq: record.seq,
            expected: record.hash,
            actual,
        });
    }
    Ok(record.head_after())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stream(name: &str) -> StreamName {
        name.parse().expect("a good name")
    }

    /// If this fails, ledgers written by one version no longer verify in another.
    /// The value was computed outside this code, with Python's hashlib over the documented encoding.
    #[test]
    fn the_encoding_is_the_documented_one() {
        let first = seal(&stream("jobs/j-1"), &Head::EMPTY, b"hello".to_vec());
        assert_eq!(
            first.hash.to_string(),
            "98f2b5225876b44051038a973a2dc6c41ed3cfd07539a98ac3c44902bca1d937"
        );
        let second = seal(&stream("jobs/j-1"), &first.head_after(), Vec::new());
        assert_eq!(
            second.hash.to_string(),
            "2891954ad928c9558d77d4fc96389e3f49868cf85c820173548a41ba8c67bcef"
        );
    }

    /// If this fails, a changed, moved, repeated or swapped record would pass for the real one.
    #[test]
    fn every_change_of_a_record_breaks_the_chain() {
        let name = stream("jobs/j-1");
        let first = seal(&name, &Head::EMPTY, b"one".to_vec());
        let second = seal(&name, &first.head_after(), b"two".to_vec());
        let head = first.head_after();
        assert_eq!(check(&head, &second), Ok(second.head_after()));

        let changed = [
            Record {
                body: b"twO".to_vec(),
                ..second.clone()
            },
            Record {
                body: b"two\0".to_vec(),
                ..second.clone()
            },
            Record {
                seq: 2,
                ..second.clone()
            },
            Record {
                stream: stream("jobs/j-2"),
                ..second.clone()
            },
            Record {
                prev_hash: Hash::ZERO,
                ..second.clone()
            },
            Record {
                hash: first.hash,
                ..second.clone()
            },
            first.clone(),
        ];
        for record in changed {
            assert!(check(&head, &record).is_err(), "{record:?} passed");
        }
        assert!(check(&Head::EMPTY, &second).is_err());
    }
}
