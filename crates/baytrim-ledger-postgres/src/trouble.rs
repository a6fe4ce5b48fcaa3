//! What can go wrong while talking to the database, and whether another try may help.

use std::io;

use baytrim_ledger::{StoreFault, StreamName};
use tokio_postgres::error::SqlState;

use crate::error::OpenError;

/// What went wrong while talking to the database.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Trouble {
    /// The database or the line to it failed.
    #[error("the database failed")]
    Database(#[from] tokio_postgres::Error),
    /// The database warned while it committed: the wait for the second copy may have been cut short.
    #[error("the database warned while it committed, so that the second copy is not certain")]
    Doubt,
    /// What was read does not fit what was just done; looking again helps.
    #[error("the database changed while it was looked at")]
    Moved,
    /// It lacks a record that was there before.
    #[error("the database lacks record {seq} of stream {stream}, which it had before")]
    Behind {
        /// The stream.
        stream: StreamName,
        /// The record.
        seq: u64,
    },
    /// No answer came in time.
    #[error("the database did not answer in time")]
    Silent,
    /// The system gave no random bytes.
    #[error("the system gives no random bytes")]
    Random(#[source] getrandom::Error),
    /// The database is one that must not be used.
    #[error(transparent)]
    Refused(Box<OpenError>),
}

/// Answers of a database that stops, starts, is full of connections or has become a replica, beside the whole class
/// of lost connections: another try, perhaps at another host, may help.
const PASSING: [SqlState; 8] = [
    SqlState::ADMIN_SHUTDOWN,
    SqlState::CRASH_SHUTDOWN,
    SqlState::CANNOT_CONNECT_NOW,
    SqlState::QUERY_CANCELED,
    SqlState::READ_ONLY_SQL_TRANSACTION,
    SqlState::TOO_MANY_CONNECTIONS,
    SqlState::T_R_SERIALIZATION_FAILURE,
    SqlState::T_R_DEADLOCK_DETECTED,
];

impl Trouble {
    /// Tells whether another try may help.
    pub(crate) fn is_passing(&self) -> bool {
        match self {
            Self::Doubt | Self::Moved | Self::Silent => true,
            Self::Behind { .. } | Self::Random(_) | Self::Refused(_) => false,
            Self::Database(error) => match error.code() {
                // No answer of the database at all: the line broke, or nobody was there.
                None => true,
                Some(code) => PASSING.contains(code) || code.code().starts_with("08"),
            },
        }
    }

    /// Tells whether a key was there already.
    pub(crate) fn is_taken(&self) -> bool {
        matches!(self, Self::Database(error) if error.code() == Some(&SqlState::UNIQUE_VIOLATION))
    }

    /// Returns what the caller of the store is told; `what` was being done.
    pub(crate) fn into_fault(self, what: &str) -> StoreFault {
        if self.is_passing() {
            let what = what.to_owned();
            let source = io::Error::other(self);
            return StoreFault::Away { what, source };
        }
        if let Self::Behind { stream, seq } = self {
            return StoreFault::Behind { stream, seq };
        }
        let is_full =
            matches!(&self, Self::Database(error) if error.code() == Some(&SqlState::DISK_FULL));
        let kind = if is_full {
            io::ErrorKind::StorageFull
        } else {
            io::ErrorKind::Other
        };
        StoreFault::from_io(what, io::Error::new(kind, self))
    }
}
