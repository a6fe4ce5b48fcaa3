//! What can go wrong with an archive.

use std::io;

use baytrim_ledger::{AppendError, BlobError, StoreFault};

/// What is wrong with an archive itself.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ArchiveError {
    /// It is another kind of file, or one of a later program.
    #[error(
        "this is no archive of form 1: {0}; give the file as `job export` or `ledger backup` wrote it"
    )]
    OtherForm(String),
    /// An entry is not the one that belongs there.
    #[error(
        "entry {found:?} stands where {expected:?} belongs; the archive was changed, get it again"
    )]
    Order {
        /// What belongs there.
        expected: String,
        /// What is there.
        found: String,
    },
    /// An entry does not say what its name or the manifest promises.
    #[error("entry {entry:?} {problem}; the archive was changed, get it again")]
    Entry {
        /// The entry.
        entry: String,
        /// What is wrong with it.
        problem: String,
    },
    /// It ends too early.
    #[error("the archive ends where {expected:?} belongs; it was cut short, get it again")]
    Short {
        /// What belongs there.
        expected: String,
    },
    /// Something follows its end.
    #[error("the archive does not end as one does; it was changed, get it again")]
    Tail,
}

/// Why an archive could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The file could not be written.
    #[error("the archive could not be written")]
    Io(#[from] io::Error),
    /// The store could not be read.
    #[error(transparent)]
    Store(#[from] StoreFault),
    /// A blob could not be read.
    #[error(transparent)]
    Blob(#[from] BlobError),
}

/// Why an archive could not be read, or is not sound.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The file could not be read.
    #[error("the archive could not be read")]
    Io(#[source] io::Error),
    /// It is not sound.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
}

/// Why an archive was not restored.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    /// It could not be read, or is not sound.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The store has another history of a stream.
    #[error(
        "stream {stream}: record {seq} is another one here than in the archive; nothing was taken"
    )]
    Conflict {
        /// The stream.
        stream: String,
        /// The last record that both have.
        seq: u64,
    },
    /// A record is not one that may be taken.
    #[error("stream {stream}, record {seq}: {problem}; nothing was taken")]
    Refused {
        /// The stream.
        stream: String,
        /// The record.
        seq: u64,
        /// What is wrong with it.
        problem: String,
    },
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreFault),
    /// A blob could not be written.
    #[error(transparent)]
    Blob(#[from] BlobError),
    /// Records could not be appended.
    #[error(transparent)]
    Append(#[from] AppendError),
}

impl From<ArchiveError> for RestoreError {
    fn from(error: ArchiveError) -> Self {
        Self::Read(error.into())
    }
}
