//! Everything that can keep a request from being granted.

use baytrim_access::AccessRefusal;
use baytrim_access::state::ShopFoldError;
use baytrim_archive::RestoreError;
use baytrim_intake::IntakeError;
use baytrim_jobs::Refusal;
use baytrim_jobs::codec::{DecodeError, EncodeError};
use baytrim_jobs::state::FoldError;
use baytrim_ledger::{AppendError, BlobError, SpoolError, StoreFault, StreamName};

use baytrim_model::ids::{JobId, PullId, UnixMillis};

use crate::checkpoints::CheckpointFault;
use crate::live::StreamFault;
use crate::sheet::PdfError;
use crate::tls::day;

/// Why a request is not granted. `status.rs` says what each becomes on the wire.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// The job would not have it.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// The shop would not have it.
    #[error(transparent)]
    Shop(#[from] AccessRefusal),
    /// A log was refused.
    #[error(transparent)]
    Log(Box<IntakeError>),
    /// A raw log was removed by the shop's own rule.
    #[error(
        "the raw log of jobs/{job}/pulls/{pull} was removed on {} by the shop's rule for old logs (`retention.raw_logs_days`); the pull's record and evidence stay; send the log again where somebody has it",
        day(*at)
    )]
    LogRemoved {
        /// The job.
        job: JobId,
        /// The pull.
        pull: PullId,
        /// When it was removed.
        at: UnixMillis,
    },
    /// An archive was refused; nothing of it was taken.
    #[error(transparent)]
    Archive(Box<RestoreError>),
    /// A checkpoint could not be made, or proves nothing.
    #[error(transparent)]
    Checkpoint(Box<CheckpointFault>),
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
    #[error("{what} {name} is being changed by others all the time; try again in a moment")]
    Contended {
        /// `job` or `bay`.
        what: &'static str,
        /// Its name.
        name: String,
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
    /// No token came, or none that is good: the same for all, so that nothing is learnt from it.
    #[error(
        "no token that is good here came with the request; send one as `authorization: Bearer TOKEN` (`--token-file FILE`)"
    )]
    TokenNotAccepted,
    /// The token was good once.
    #[error("the token has expired; ask an owner of the shop for another (`baytrim token issue`)")]
    TokenExpired,
    /// The token was made void.
    #[error(
        "the token was made void; ask an owner of the shop for another (`baytrim token issue`)"
    )]
    TokenRevoked,
    /// Too many wrong tokens came from that address.
    #[error(
        "too many wrong tokens came from this address; check the token file, then try again in a minute"
    )]
    TooManyAttempts,
    /// The member lacks the role.
    #[error("{member} may not call {method}{}", needed(roles))]
    NotPermitted {
        /// The member.
        member: String,
        /// The method, `Service/Method`.
        method: String,
        /// Roles that may; empty: none.
        roles: String,
    },
    /// The caller takes itself for somebody else.
    #[error(
        "the token is {member}'s, and the request says another name; use that person's token, or leave the name out"
    )]
    OtherName {
        /// Whose token it is.
        member: String,
    },
    /// The member is a bay, and bays show certificates here.
    #[error(
        "bays show a certificate of their own here, and the connection showed none of {member}'s; have one made on the daemon's machine (`baytrimd tls issue`) and name it with --certificate"
    )]
    CertificateNeeded {
        /// The member.
        member: String,
    },
    /// The member is bound to another bay.
    #[error("{member} may submit pulls of bay {bay} only; name that bay, or use another token")]
    OtherBay {
        /// The member.
        member: String,
        /// Its bay.
        bay: String,
    },
}

fn needed(roles: &str) -> String {
    if roles.is_empty() {
        return "; nobody may".to_owned();
    }
    format!(
        ": that takes the role {roles}; an owner of the shop gives roles (`baytrim member set`)"
    )
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
    /// The records of a stream do not follow from each other.
    #[error("the records of {stream} do not follow from each other")]
    Fold {
        /// The stream.
        stream: String,
        /// Why.
        source: FoldError,
    },
    /// A record of the shop could not be read.
    #[error("record {seq} of the shop cannot be read")]
    ShopRecord {
        /// The record.
        seq: u64,
        /// Why.
        source: DecodeError,
    },
    /// The records of the shop do not follow from each other.
    #[error("the records of the shop do not follow from each other")]
    ShopFold(#[from] ShopFoldError),
    /// The system gave no random bytes.
    #[error("the system gives no random bytes")]
    Random(#[source] getrandom::Error),
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
    /// A job sheet could not be made.
    #[error("a job sheet could not be made")]
    Sheet(#[from] PdfError),
    /// A blocking task was cut off or panicked.
    #[error("a task ended before its time")]
    Task(#[from] tokio::task::JoinError),
    /// Something that cannot be.
    #[error("{0}")]
    Impossible(&'static str),
}

impl Fault {
    /// Returns the fault of a stream that others kept appending to.
    pub(crate) fn contended(stream: &StreamName) -> Self {
        let (what, name) = match stream.as_str().split_once('/') {
            Some(("bay", name)) => ("bay", name),
            Some((_, name)) => ("job", name),
            None => ("job", stream.as_str()),
        };
        Self::Contended {
            what,
            name: name.to_owned(),
        }
    }
}

impl From<IntakeError> for Fault {
    fn from(error: IntakeError) -> Self {
        Self::Log(Box::new(error))
    }
}

impl From<RestoreError> for Fault {
    fn from(error: RestoreError) -> Self {
        match error {
            RestoreError::Store(fault) => fault.into(),
            RestoreError::Blob(error) => InternalFault::from(error).into(),
            RestoreError::Append(error) => error.into(),
            other => Self::Archive(Box::new(other)),
        }
    }
}

impl Fault {
    /// Tells whether the store lacks what was seen in it.
    pub(crate) fn is_behind(&self) -> bool {
        matches!(self, Self::Internal(fault) if matches!(**fault, InternalFault::Store(StoreFault::Behind { .. })))
    }
}

impl From<InternalFault> for Fault {
    fn from(fault: InternalFault) -> Self {
        Self::Internal(Box::new(fault))
    }
}

impl From<PdfError> for Fault {
    fn from(error: PdfError) -> Self {
        InternalFault::from(error).into()
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
            AppendError::Conflict { stream, .. } => Self::contended(&stream),
            AppendError::Fault(fault) => fault.into(),
        }
    }
}

impl From<tokio::task::JoinError> for Fault {
    fn from(error: tokio::task::JoinError) -> Self {
        InternalFault::from(error).into()
    }
}
