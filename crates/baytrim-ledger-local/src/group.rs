//! One group of jobs that share a sync: what they ask, what they get.

use std::collections::HashMap;
use std::io;
use std::sync::mpsc::SyncSender;

use baytrim_ledger::{AppendError, Head, SpoolError, StoreFault, StreamName};

use crate::state::Effect;

/// Carries one answer back to the caller that waits for it.
pub(crate) type Reply<T, E> = SyncSender<Result<T, E>>;

/// Is what a caller asks of the writer.
pub(crate) enum Job {
    /// Append the records in `payload` if the head is still `expected`.
    Append {
        stream: StreamName,
        expected: Head,
        after: Head,
        payload: Vec<u8>,
        reply: Reply<Head, AppendError>,
    },
    /// Append the chunks in `payloads` if the number of the first is still the next.
    Chunks {
        spool: StreamName,
        number: u64,
        payloads: Vec<Vec<u8>>,
        reply: Reply<u64, SpoolError>,
    },
    /// Forget a spool.
    Drop {
        spool: StreamName,
        payload: Vec<u8>,
        reply: Reply<(), StoreFault>,
    },
}

impl Job {
    /// Returns the bytes that the job writes.
    pub(crate) fn bytes(&self) -> usize {
        match self {
            Self::Append { payload, .. } | Self::Drop { payload, .. } => payload.len(),
            Self::Chunks { payloads, .. } => payloads.iter().map(Vec::len).sum(),
        }
    }

    /// Answers with a fault.
    pub(crate) fn refuse(self, fault: StoreFault) {
        match self {
            Self::Append { reply, .. } => answer(&reply, Err(fault.into())),
            Self::Chunks { reply, .. } => answer(&reply, Err(fault.into())),
            Self::Drop { reply, .. } => answer(&reply, Err(fault)),
        }
    }
}

/// Is an answer that waits for the group's sync.
pub(crate) enum Answer {
    Append(Reply<Head, AppendError>, Result<Head, AppendError>),
    Chunk(Reply<u64, SpoolError>, Result<u64, SpoolError>),
    Drop(Reply<(), StoreFault>),
}

impl Answer {
    /// Sends the answer that was prepared.
    pub(crate) fn send(self) {
        match self {
            Self::Append(reply, result) => answer(&reply, result),
            Self::Chunk(reply, result) => answer(&reply, result),
            Self::Drop(reply) => answer(&reply, Ok(())),
        }
    }

    /// Sends the group's failure in place of the answer, which rests on what is not durable.
    pub(crate) fn fail(self, fault: &StoreFault) {
        let fault = copy(fault);
        match self {
            Self::Append(reply, _) => answer(&reply, Err(fault.into())),
            Self::Chunk(reply, _) => answer(&reply, Err(fault.into())),
            Self::Drop(reply) => answer(&reply, Err(fault)),
        }
    }
}

fn answer<T>(reply: &SyncSender<T>, result: T) {
    // A caller that is gone needs no answer; the channel has room for this one.
    let _ = reply.try_send(result);
}

fn copy(fault: &StoreFault) -> StoreFault {
    let again = |source: &io::Error| io::Error::new(source.kind(), source.to_string());
    match fault {
        StoreFault::Io { what, source } => StoreFault::Io {
            what: what.clone(),
            source: again(source),
        },
        StoreFault::Away { what, source } => StoreFault::Away {
            what: what.clone(),
            source: again(source),
        },
        StoreFault::Full { what, source } => StoreFault::Full {
            what: what.clone(),
            source: again(source),
        },
        StoreFault::Poisoned { reason } => StoreFault::Poisoned {
            reason: reason.clone(),
        },
        StoreFault::Damaged(damage) => StoreFault::Damaged(damage.clone()),
        StoreFault::Behind { stream, seq } => StoreFault::Behind {
            stream: stream.clone(),
            seq: *seq,
        },
        StoreFault::Closed => StoreFault::Closed,
    }
}

/// Is a group on its way to disk.
#[derive(Default)]
pub(crate) struct Group {
    /// Heads as they will be.
    pub(crate) heads: HashMap<StreamName, Head>,
    /// Next chunks as they will be.
    pub(crate) nexts: HashMap<StreamName, u64>,
    /// Changes to be made visible once durable, in order.
    pub(crate) effects: Vec<Effect>,
    /// Answers to be given then.
    pub(crate) answers: Vec<Answer>,
}
