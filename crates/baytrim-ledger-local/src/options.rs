//! How a store is opened, what opening found, and why it may be refused.

use std::path::PathBuf;
use std::time::Duration;

use baytrim_ledger::{Damage, StoreFault};

/// Says how much of the journal is read when opening.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum OpenCheck {
    /// Reads what the index does not cover yet, and looks at the length and header of every segment.
    #[default]
    SinceIndex,
    /// Reads every frame, whatever the index says.
    Whole,
}

/// Says how a local store is opened.
#[derive(Debug, Clone)]
pub struct Options {
    /// Bytes at which a journal segment is full: 64 MiB, so that a thousand of them hold a large shop's decade.
    pub segment_bytes: u64,
    /// Bytes at which a spool segment is full: 16 MiB, so that the space of finished pulls is soon given back.
    pub spool_segment_bytes: u64,
    /// Bytes of cache for the index: 32 MiB; its process memory was seen to reach several times as much.
    pub index_cache_bytes: u64,
    /// Appends that may wait for the writer; more callers than that block: 1024, about a second of small appends.
    pub queue_len: usize,
    /// Time passed since any moment, by which small chunks of a crowd of spools wait a little for each other and share
    /// a sync; none: no chunk waits.
    pub clock: Option<fn() -> Duration>,
    /// How much is read when opening.
    pub check: OpenCheck,
    /// Goes on when acknowledged content is missing or damaged: what is left unreadable is moved to `lost/`.
    ///
    /// For the owner to set by hand, after making a copy, when there is no backup.
    pub accept_loss: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            segment_bytes: 64 << 20,
            spool_segment_bytes: 16 << 20,
            index_cache_bytes: 32 << 20,
            queue_len: 1024,
            clock: None,
            check: OpenCheck::default(),
            accept_loss: false,
        }
    }
}

/// Describes what was cut off the end of a log: written, never acknowledged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TornTail {
    /// The segment file.
    pub file: PathBuf,
    /// Byte offset of the cut.
    pub offset: u64,
    /// Bytes cut off, in this and later segments.
    pub bytes: u64,
}

/// Says what opening found of the index.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum IndexReport {
    /// It covered the whole journal.
    Sound,
    /// It was behind and was brought up to the journal's end.
    CaughtUp {
        /// Frames that it lacked.
        frame_count: u64,
    },
    /// It was not to be trusted and was made anew from the journal.
    Rebuilt {
        /// Why.
        reason: String,
        /// Frames in the journal.
        frame_count: u64,
    },
}

/// Tells what opening found and did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenReport {
    /// Whether the directory was set up by this opening.
    pub is_new: bool,
    /// Streams with at least one record.
    pub stream_count: u64,
    /// Records in them.
    pub record_count: u64,
    /// Spools held.
    pub spool_count: u64,
    /// What was cut off the journal's end.
    pub torn_journal: Option<TornTail>,
    /// What was cut off the spool log's end.
    pub torn_spool: Option<TornTail>,
    /// Whole frames after the anchor: written, not acknowledged, kept.
    pub unacknowledged_frame_count: u64,
    /// Whether one of the anchor's two slots was unreadable and was written again.
    pub is_anchor_slot_lost: bool,
    /// The index.
    pub index: IndexReport,
    /// Half-written blobs removed.
    pub temporary_file_count: u64,
    /// What was given up under [`Options::accept_loss`], one sentence each.
    pub losses: Vec<String>,
}

/// Says why a directory was not opened; nothing in it was deleted.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// Another process (or another store in this one) has it open.
    #[error("{} is in use by another daemon; stop that one, or name another directory", dir.display())]
    Locked {
        /// The directory.
        dir: PathBuf,
    },
    /// The directory holds something else.
    #[error("{} is not a ledger directory: {what}; name an empty directory or the right one", dir.display())]
    NotALedger {
        /// The directory.
        dir: PathBuf,
        /// What was found.
        what: String,
    },
    /// The directory was written by another version.
    #[error("{} holds {found:?}, this version reads {known:?}; use the version that wrote it", file.display())]
    UnknownFormat {
        /// The format file.
        file: PathBuf,
        /// What it says.
        found: String,
        /// What this version writes.
        known: String,
    },
    /// The anchor is missing or unreadable, so that nobody can say whether the logs are whole.
    #[error("{}: {what}; restore the directory from a backup, or copy it and accept the loss", file.display())]
    AnchorLost {
        /// The anchor file.
        file: PathBuf,
        /// What is wrong.
        what: String,
    },
    /// A log ends before the last acknowledged frame.
    #[error(
        "{} ends at byte {offset}, {missing_frame_count} acknowledged frames too early; restore it from a backup, or copy the directory and accept the loss", file.display()
    )]
    LostTail {
        /// The last segment file.
        file: PathBuf,
        /// Where it ends.
        offset: u64,
        /// Acknowledged frames (appends) that are not there.
        missing_frame_count: u64,
    },
    /// Acknowledged content is damaged.
    #[error("the ledger is damaged: {0}")]
    Damaged(Box<Damage>),
    /// The system refused something.
    #[error(transparent)]
    Fault(#[from] StoreFault),
}
