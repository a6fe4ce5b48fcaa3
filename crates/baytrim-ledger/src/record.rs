//! One entry of the ledger, and the end of a stream.

use crate::hash::Hash;
use crate::name::StreamName;

/// Is the end of a stream: the number that the next record gets and the hash of the last one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    /// Number of the next record; equals the count of records, because the first has number 0.
    pub next_seq: u64,
    /// Hash of the last record; [`Hash::ZERO`] while there is none.
    pub hash: Hash,
}

impl Head {
    /// The head of a stream that holds nothing.
    pub const EMPTY: Self = Self {
        next_seq: 0,
        hash: Hash::ZERO,
    };
}

impl Default for Head {
    fn default() -> Self {
        Self::EMPTY
    }
}

/// Is one entry of a stream, chained to the one before by its hash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    /// The stream that it belongs to.
    pub stream: StreamName,
    /// Its number in the stream, from 0 without gaps.
    pub seq: u64,
    /// Hash of the record before; [`Hash::ZERO`] for the first.
    pub prev_hash: Hash,
    /// Its own hash, see [`crate::chain::record_hash`].
    pub hash: Hash,
    /// What it says: opaque bytes, at most [`crate::limits::BODY_BYTES_MAX`].
    pub body: Vec<u8>,
}

impl Record {
    /// Returns the head that the stream had just before this record.
    pub fn head_before(&self) -> Head {
        Head {
            next_seq: self.seq,
            hash: self.prev_hash,
        }
    }

    /// Returns the head that the stream had just after this record.
    pub fn head_after(&self) -> Head {
        Head {
            next_seq: self.seq + 1,
            hash: self.hash,
        }
    }
}
