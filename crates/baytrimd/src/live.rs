//! Live pulls: batches go into a spool as they come and become a log and a record when the pull is finished.

mod cursor;
mod drive;
mod header;
mod log;
mod registry;
mod session;

use baytrim_model::field::FieldError;

use crate::fault::AccessFault;

pub(crate) use drive::run;
pub use registry::Streams;

/// Why a live pull was not taken on, or ended.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StreamFault {
    /// The first message does not open the pull.
    #[error("the first message does not say what follows; send `open` first")]
    NotOpened,
    /// A later message opens it again.
    #[error("the pull is open already; send `open` once, as the first message")]
    OpenedTwice,
    /// A message says nothing.
    #[error("a message is neither `open` nor content; set one of its fields")]
    MessageEmpty,
    /// A batch can't be used.
    #[error("batch {sequence_number}: {error}")]
    Batch {
        /// The batch.
        sequence_number: u64,
        /// What is wrong with it.
        error: FieldError,
    },
    /// A pull of that request id is something else.
    #[error(
        "live pull {request_id:?} was begun with {field} {before:?}, not {now:?}; resume it with the same, or begin another pull under a fresh request_id"
    )]
    Mismatch {
        /// The client's name for the pull.
        request_id: String,
        /// What differs.
        field: &'static str,
        /// What the pull was begun with.
        before: String,
        /// What was sent now.
        now: String,
    },
    /// A batch is missing.
    #[error("batch {expected} is missing before batch {found}; send it and those after it")]
    Skipped {
        /// The batch that is next.
        expected: u64,
        /// The batch that came.
        found: u64,
    },
    /// The pull was finished before it had a batch.
    #[error("the pull has no samples; send a batch before finishing it")]
    NothingSent,
    /// The stream ended without a word.
    #[error(
        "the stream ended without `finish`; batches up to {durable} are kept: open it again with the same request_id and go on after them"
    )]
    Unfinished {
        /// Highest durable batch.
        durable: u64,
    },
    /// A newer connection took the pull over.
    #[error("another connection goes on with this pull; batches up to {durable} are kept")]
    Superseded {
        /// Highest durable batch.
        durable: u64,
    },
    /// Nothing came for too long.
    #[error(
        "nothing came for {idle_s} s; batches up to {durable} are kept: open it again with the same request_id and go on after them"
    )]
    Idle {
        /// Seconds without a message.
        idle_s: u64,
        /// Highest durable batch.
        durable: u64,
    },
    /// Its sender may go on no longer.
    #[error(
        "{fault}; batches up to {durable} are kept: open it again with the same request_id and a good token"
    )]
    ShutOut {
        /// Why.
        fault: AccessFault,
        /// Highest durable batch.
        durable: u64,
    },
    /// Another member began it.
    #[error(
        "live pull {request_id:?} was begun by {by}; another member goes on with it only with the role tuner: begin another pull under a fresh request_id"
    )]
    Others {
        /// The client's name for the pull.
        request_id: String,
        /// Who began it.
        by: String,
    },
    /// The daemon is stopping.
    #[error(
        "the daemon is stopping; batches up to {durable} are kept: open it again with the same request_id once it is back"
    )]
    Stopping {
        /// Highest durable batch.
        durable: u64,
    },
}
