//! The one map from faults to what a caller is told: code, `ErrorInfo` reason, place, remedy.
//! `docs/errors.md` lists every reason.

mod access;
mod build;
mod log;
mod refusal;
mod stream;
#[cfg(test)]
mod tests;

use baytrim_archive::RestoreError;
use baytrim_intake::IntakeError;
use baytrim_jobs::codec::DecodeError;
use baytrim_ledger::{BlobError, SpoolError, StoreFault};
use tonic::{Code, Status};

use crate::checkpoints::CheckpointFault;
use crate::clock;
use crate::fault::{Fault, InternalFault};

pub use build::{DOMAIN, Told};

/// Returns the status that tells `fault`. An internal fault is logged under a number, and only the
/// number is told.
pub fn of(fault: &Fault) -> Status {
    build::status(&tell(fault))
}

impl From<Fault> for Status {
    fn from(fault: Fault) -> Self {
        of(&fault)
    }
}

fn tell(fault: &Fault) -> Told {
    match fault {
        Fault::Refused(refusal) => refusal::tell(refusal),
        Fault::Log(error) => match &**error {
            IntakeError::Unreadable { source, .. } => match store_fault(source) {
                Some(fault) => tell_store(internal(source), fault),
                None => internal(source),
            },
            error => log::tell(error),
        },
        Fault::LogRemoved { job, pull, .. } => {
            Told::new(Code::FailedPrecondition, "LOG_REMOVED", fault)
                .with("job", job)
                .with("pull", pull)
        }
        Fault::Archive(error) => match &**error {
            RestoreError::Conflict { .. } => {
                Told::new(Code::FailedPrecondition, "HISTORY_DIFFERS", fault)
            }
            _ => Told::new(Code::InvalidArgument, "ARCHIVE_INVALID", fault),
        },
        Fault::Checkpoint(of_checkpoint) => match &**of_checkpoint {
            CheckpointFault::NoKey => {
                Told::new(Code::FailedPrecondition, "CHECKPOINT_NO_KEY", fault)
            }
            CheckpointFault::Unknown { .. } => {
                Told::new(Code::NotFound, "CHECKPOINT_UNKNOWN", fault)
            }
            CheckpointFault::WithoutJob { .. } => {
                Told::new(Code::FailedPrecondition, "CHECKPOINT_WITHOUT_JOB", fault)
            }
            CheckpointFault::Invalid(_) => {
                Told::new(Code::InvalidArgument, "CHECKPOINT_INVALID", fault)
            }
        },
        Fault::Stream(fault) => stream::tell(fault),
        Fault::Access(fault) => access::tell(fault),
        Fault::Shop(refusal) => access::refused(refusal),
        Fault::Busy { .. } => Told::new(Code::ResourceExhausted, "BUSY", fault).retry_in_s(2),
        Fault::TooLarge { max, .. } => {
            Told::new(Code::InvalidArgument, "TOO_LARGE", fault).with("bytes_max", max)
        }
        Fault::Contended { what, name } => {
            let reason = match *what {
                "bay" => "BAY_CONTENDED",
                _ => "JOB_CONTENDED",
            };
            Told::new(Code::Aborted, reason, fault).with(what, name)
        }
        Fault::RecordTooLarge { max, .. } => {
            Told::new(Code::ResourceExhausted, "RECORD_TOO_LARGE", fault).with("bytes_max", max)
        }
        Fault::Cut => Told::new(Code::Aborted, "STREAM_CUT", fault),
        Fault::Idle { .. } => Told::new(Code::DeadlineExceeded, "STREAM_IDLE", fault),
        Fault::Stopping => Told::new(Code::Unavailable, "SHUTTING_DOWN", fault).retry_in_s(2),
        Fault::Internal(fault) => tell_internal(fault),
    }
}

fn tell_internal(fault: &InternalFault) -> Told {
    let told = internal(fault);
    match fault {
        InternalFault::Ambiguous { .. } => told.but(
            Code::Unavailable,
            "OUTCOME_UNKNOWN",
            "whether the request was recorded is not known; send it again with the same request_id, which records it once at the most",
        ),
        InternalFault::Record {
            source: DecodeError::TooNew { .. } | DecodeError::Unknown(_),
            ..
        }
        | InternalFault::ShopRecord {
            source: DecodeError::TooNew { .. } | DecodeError::Unknown(_),
            ..
        } => told.but(
            Code::Unavailable,
            "RECORD_NEWER",
            "a later version of baytrimd has recorded here what this one can't read; nothing was done; send the request to a daemon of that version, or upgrade this one",
        ),
        InternalFault::Store(_)
        | InternalFault::Blob(_)
        | InternalFault::Spool(_)
        | InternalFault::Encode(_)
        | InternalFault::Record { .. }
        | InternalFault::Fold { .. }
        | InternalFault::Log { .. }
        | InternalFault::Temporary(_)
        | InternalFault::ShopRecord { .. }
        | InternalFault::ShopFold(_)
        | InternalFault::Random(_)
        | InternalFault::Decode { .. }
        | InternalFault::Sheet(_)
        | InternalFault::Task(_)
        | InternalFault::Impossible(_) => match store_fault(fault) {
            Some(fault) => tell_store(told, fault),
            None => told,
        },
    }
}

/// Returns the store's fault that is behind an error, be it wrapped as an error of reading.
fn store_fault<'a>(error: &'a (dyn std::error::Error + 'static)) -> Option<&'a StoreFault> {
    let mut next = Some(error);
    while let Some(error) = next {
        if let Some(fault) = error.downcast_ref() {
            return Some(fault);
        }
        // These show their fault's source as their own.
        if let Some(BlobError::Fault(fault)) = error.downcast_ref() {
            return Some(fault);
        }
        if let Some(SpoolError::Fault(fault)) = error.downcast_ref() {
            return Some(fault);
        }
        // An error of reading hides what it was made from: its source is that one's source.
        let inner = error.downcast_ref::<std::io::Error>();
        next = match inner.and_then(std::io::Error::get_ref) {
            Some(inner) => Some(inner),
            None => error.source(),
        };
    }
    None
}

fn tell_store(told: Told, fault: &StoreFault) -> Told {
    match fault {
        StoreFault::Full { .. } => told.but(
            Code::ResourceExhausted,
            "STORE_FULL",
            "the daemon's disk is full; free some space, then restart the daemon",
        ),
        StoreFault::Away { .. } => told.but(
            Code::Unavailable,
            "STORE_AWAY",
            "the daemon can't reach its ledger; send the request again with the same request_id in a moment",
        ),
        StoreFault::Behind { .. } => told.but(
            Code::Unavailable,
            "STORE_BEHIND",
            "the database lacks records that this daemon has seen in it; nothing was done, and nothing is until they are there again; tell whoever runs the daemon",
        ),
        StoreFault::Poisoned { .. } => told.but(
            Code::Unavailable,
            "STORE_STOPPED",
            "the daemon takes no more writes since one failed; check its disk, then restart it",
        ),
        StoreFault::Closed => told.but(
            Code::Unavailable,
            "SHUTTING_DOWN",
            "the daemon is stopping; send the request again once it is back",
        ),
        StoreFault::Damaged(_) => told.but(
            Code::DataLoss,
            "STORE_DAMAGED",
            "what was read is not what was written; run `baytrimd ledger verify` on the daemon's machine",
        ),
        StoreFault::Io { .. } => told,
    }
}

/// Logs what the caller can't help, and tells it without details.
fn internal(fault: &(dyn std::error::Error + 'static)) -> Told {
    use std::sync::atomic::{AtomicU64, Ordering};
    static COUNT: AtomicU64 = AtomicU64::new(0);
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    let number = format!("{:x}-{count}", clock::now().0);
    tracing::error!(fault = %number, error = %chain(fault), "a request failed");
    Told::new(
        Code::Internal,
        "INTERNAL",
        &"the daemon failed; its log has the details",
    )
    .with("fault", &number)
}

/// Returns an error and its sources, each after a colon.
pub(crate) fn chain(error: &(dyn std::error::Error + 'static)) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(error) = source {
        let inner = error.to_string();
        // A transparent error shows its source's text itself.
        if !text.ends_with(&inner) {
            text.push_str(": ");
            text.push_str(&inner);
        }
        source = error.source();
    }
    text
}
