//! What an archive holds.

use baytrim_ledger::{BlobId, Hash, Head, StreamName};
use serde::{Deserialize, Serialize};

/// What is to be put into an archive.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Contents {
    /// Streams, each up to a head; in byte order of their names.
    pub streams: Vec<(StreamName, Head)>,
    /// Blobs, in byte order of their names.
    pub blobs: Vec<BlobId>,
}

/// What an archive holds, in numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// Streams with their heads.
    pub streams: Vec<(StreamName, Head)>,
    /// Records in them.
    pub record_count: u64,
    /// Blobs.
    pub blobs: Vec<BlobId>,
    /// Bytes of the whole file.
    pub file_bytes: u64,
    /// SHA-256 of all that comes before the last entry, which holds it too.
    pub sha256: Hash,
}

/// The first entry of an archive: all that must be in it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Manifest {
    pub(crate) form: String,
    pub(crate) streams: Vec<StreamLine>,
    pub(crate) blobs: Vec<BlobLine>,
}

/// One stream.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct StreamLine {
    pub(crate) name: String,
    pub(crate) record_count: u64,
    pub(crate) head: String,
}

/// One blob.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BlobLine {
    pub(crate) sha256: String,
    pub(crate) bytes: u64,
}

/// The last entry of an archive.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct End {
    pub(crate) sha256: String,
}
