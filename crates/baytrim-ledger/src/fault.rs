//! What can go wrong underneath a store, whatever was asked of it.

use std::fmt;
use std::io;

use crate::name::StreamName;

/// Describes one place where what is stored is not what was written.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Damage {
    /// The file or table, as the store names it.
    pub file: String,
    /// Byte offset in the file, where that is known.
    pub offset: Option<u64>,
    /// The stream or spool, where that is known.
    pub stream: Option<StreamName>,
    /// The record or chunk number in the stream, where that is known.
    pub seq: Option<u64>,
    /// What is wrong.
    pub what: String,
    /// What to do about it.
    pub advice: String,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(offset) = self.offset {
            write!(f, " at byte {offset}")?;
        }
        if let Some(stream) = &self.stream {
            write!(f, ", stream {stream}")?;
        }
        if let Some(seq) = self.seq {
            write!(f, ", number {seq}")?;
        }
        write!(f, ": {}", self.what)?;
        if !self.advice.is_empty() {
            write!(f, "; {}", self.advice)?;
        }
        Ok(())
    }
}

impl std::error::Error for Damage {}

/// Says why a store could not do what it was asked; nothing in it depends on the request.
#[derive(Debug, thiserror::Error)]
pub enum StoreFault {
    /// The operating system or the database refused.
    #[error("{what} failed")]
    Io {
        /// What was being done, to which file or table.
        what: String,
        /// What the system said.
        source: io::Error,
    },
    /// What holds the content can't be reached now; whether a write has landed is unknown.
    #[error("{what} failed, because the store can't be reached; try again once it can")]
    Away {
        /// What was being done.
        what: String,
        /// Why it can't be reached.
        source: io::Error,
    },
    /// What holds the content lacks a record that it had before: a failover or a restore has lost some.
    #[error(
        "the store lacks record {seq} of stream {stream}, which this program has seen in it; nothing is read from it or written to it until the record is there again"
    )]
    Behind {
        /// The stream.
        stream: StreamName,
        /// The newest record of it that was seen.
        seq: u64,
    },
    /// There is no space left; whether this write landed is unknown.
    #[error("{what} failed for want of space; free some, then restart the store")]
    Full {
        /// What was being done, to which file or table.
        what: String,
        /// What the system said.
        source: io::Error,
    },
    /// An earlier write failed, so that later ones cannot be trusted.
    #[error(
        "the store takes no more writes since an earlier one failed ({reason}); check the disk, then restart it"
    )]
    Poisoned {
        /// The earlier failure.
        reason: String,
    },
    /// What was read is not what was written.
    #[error("the store is damaged: {0}")]
    Damaged(Box<Damage>),
    /// The store has been shut down.
    #[error("the store is closed; open it again")]
    Closed,
}

impl StoreFault {
    /// Wraps a system error, telling 'no space' from the rest.
    pub fn from_io(what: impl Into<String>, source: io::Error) -> Self {
        let what = what.into();
        match source.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                Self::Full { what, source }
            }
            _ => Self::Io { what, source },
        }
    }
}

impl From<Damage> for StoreFault {
    fn from(damage: Damage) -> Self {
        Self::Damaged(Box::new(damage))
    }
}
