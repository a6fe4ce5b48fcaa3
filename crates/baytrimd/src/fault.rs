//! Everything that can keep a request from being granted.

use baytrim_intake::IntakeError;
use baytrim_jobs::Refusal;
use baytrim_jobs::codec::{DecodeError, EncodeError};
use baytrim_jobs::state::FoldError;
use baytrim_ledger::{AppendError, BlobError, SpoolError, StoreFault};

use crate::live::StreamFault;

/// Why a request is not granted. `status.rs` says what each becomes on the wire.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// The job would not have it.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// A log was refused.
    #[error(transparent)]
    Log(Box<IntakeError>),
    /// A live pull was not taken on, or ended.
    #[error(transparent)]
    Stream(#[from] StreamFault),
    /// Who asks was not told, or not believed.
    #[error(transparent)]
    Access(#[from] AccessFault),
    /// The daemon has too much to do.
    #[error("{what}: {max} at once is the limit; try again in a moment")]
    Busy {
        /// What there is too much of.
        what: &'static str,
        /// The limit.
        max: usize,
    },
    /// A message or file is larger than the limit.
    #[error("{what} is larger than {max} bytes; {remedy}")]
    TooLarge {
        /// What is too large.
        what: String,
        /// The limit in bytes.
        max: u64,
        /// What to do.
        remedy: &'static str,
    },
    /// Others kept recording first.
    #[error("job {job} is being changed by others all the time; try again in a moment")]
    Contended {
        /// The job.
        job: String,
    },
    /// What is to be recorded does not fit into one record.
    #[error(
        "{what} is {actual}, at most {max} can be recorded; use a table with fewer breakpoints"
    )]
    RecordTooLarge {
        /// Which measure.
        what: &'static str,
        /// Its value.
        actual: usize,
        /// Its limit.
        max: usize,
    },
    /// The caller's side of a stream broke off.
    #[error("the stream broke off before its end; nothing of it was recorded; send it again")]
    Cut,
    /// The caller's side of an upload was silent for too long.
    #[error("nothing came for {idle_s} s; nothing was recorded; send the log again")]
    Idle {
        /// Seconds without a message.
        idle_s: u64,
    },
    /// The daemon is stopping.
    #[error("the daemon is stopping; send the request again once it is back")]
    Stopping,
    /// The program or what is below it failed; the caller can do nothing about it.
    #[error(transparent)]
    Internal(Box<InternalFault>),
}

/// Why a caller was not let in.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AccessFault {
    /// No token came.
    #[error(
        "this daemon asks for a token; send it as `authorization: Bearer TOKEN` (`--token-file FILE`)"
    )]
    TokenMissing,
    /// Another token came.
    #[error("the token is not the one that this daemon was started with; check the token file")]
    TokenWrong,
}

/// What the caller can't help: logged in full under a number, told without details.
#[derive(Debug, thiserror::Error)]
pub enum InternalFault {
    /// The store failed.
    #[error("the store failed")]
    Store(#[from] StoreFault),
    /// A blob that a record names could not be read or written.
    #[error("a blob could not be read or written")]
    Blob(#[from] BlobError),
    /// A live pull's spool failed.
    #[error("a spool failed")]
    Spool(#[from] SpoolError),
    /// A record could not be written down.
    #[error("a record cannot be written down")]
    Encode(#[from] EncodeError),
    /// A record could not be read.
    #[error("record {seq} of {stream} cannot be read")]
    Record {
        /// The stream.
        stream: String,
        /// The record.
        seq: u64,
        /// Why.
        source: DecodeError,
    },
    /// The records of a job do not follow from each other.
    #[error("the records of {stream} do not tell a job")]
    Fold {
        /// The stream.
        stream: String,
        /// Why.
        source: FoldError,
    },
    /// An append may or may not have landed, and reading back failed too.
    #[error("an append to {stream} may or may not have landed")]
    Ambiguous {
        /// The stream.
        stream: String,
        /// What went wrong first.
        source: StoreFault,
    },
    /// A recorded log can't be read any more.
    #[error("the recorded log of {pull} can't be read again")]
    Log {
        /// The pull.
        pull: String,
        /// Why.
        source: Box<IntakeError>,
    },
    /// A temporary file failed.
    #[error("a temporary file failed")]
    Temporary(#[source] std::io::Error),
    /// What was encoded by this program can't be decoded.
    #[error("{what} can't be decoded")]
    Decode {
        /// What it is.
        what: String,
        /// Why.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// A blocking task was cut off or panicked.
    #[error("a task ended before its time")]
    Task(#[from] tokio::task::JoinError),
    /// Something that cannot be.
    #[error("{0}")]
    Impossible(&'static str),
}

impl From<IntakeError> for Fault {
    fn from(error: IntakeError) -> Self {
        Self::Log(Box::new(error))
    }
}

impl From<InternalFault> for Fault {
    fn from(fault: InternalFault) -> Self {
        Self::Internal(Box::new(fault))
    }
}

impl From<StoreFault> for Fault {
    fn from(fault: StoreFault) -> Self {
        InternalFault::from(fault).into()
    }
}

impl From<BlobError> for Fault {
    fn from(error: BlobError) -> Self {
        match error {
            BlobError::TooLarge { max, .. } => Self::TooLarge {
                what: "the log".to_owned(),
                max,
                remedy: "cut it into several pulls, or leave out columns that are not used",
            },
            other => InternalFault::from(other).into(),
        }
    }
}

impl From<SpoolError> for Fault {
    fn from(error: SpoolError) -> Self {
        InternalFault::from(error).into()
    }
}

impl From<AppendError> for Fault {
    fn from(error: AppendError) -> Self {
        match error {
            AppendError::TooLarge { what, actual, max } => {
                Self::RecordTooLarge { what, actual, max }
            }
            AppendError::Conflict { stream, .. } => Self::Contended {
                job: stream.as_str().trim_start_matches("job/").to_owned(),
            },
            AppendError::Fault(fault) => fault.into(),
        }
    }
}

impl From<tokio::task::JoinError> for Fault {
    fn from(error: tokio::task::JoinError) -> Self {
        InternalFault::from(error).into()
    }
}
