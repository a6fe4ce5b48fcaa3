//! Moving a whole ledger from one store to another: blobs, live pulls, then records, each proven on arrival. What has
//! arrived stays, so that a move that broke off goes on where it was.

use baytrim_ledger::{AppendError, BlobError, BlobId, Head, Record, Store, StreamName};
use std::io::Read as _;

use crate::fault::{Fault, InternalFault};
use crate::ledger_check::head_of_all;

/// Names that are listed at a time.
const LIST: usize = 256;

/// Records that are moved at a time.
const RECORDS: usize = 64;

/// Bytes of bodies that are appended at a time.
const APPEND_BYTES: usize = 2 << 20;

/// Bytes of a blob that are moved at a time.
const BLOB_BYTES: usize = 256 << 10;

/// Chunks of a live pull that are moved at a time.
const CHUNKS: usize = 64;

/// Counts what was moved, and what had arrived before.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Moved {
    /// Records that were appended.
    pub record_count: u64,
    /// Records that were there.
    pub known_record_count: u64,
    /// Blobs that were written.
    pub blob_count: u64,
    /// Blobs that were there; their content was read and proven.
    pub known_blob_count: u64,
    /// Bytes of blobs that were written.
    pub blob_bytes: u64,
    /// Live pulls, not finished yet, that were taken along.
    pub spool_count: u64,
}

/// Why a ledger was not moved.
#[derive(Debug, thiserror::Error)]
pub enum TransferError {
    /// The target holds something else.
    #[error(
        "{name} is in the target and {problem}; nothing was moved: name an empty target, or the one that this ledger was moved to before"
    )]
    OtherLedger {
        /// The stream.
        name: StreamName,
        /// How it differs.
        problem: &'static str,
    },
    /// Content differs from what was sent.
    #[error("{what} came out as something else in the target; do not use it, and check its disk")]
    Changed {
        /// What differs.
        what: String,
    },
    /// The source was written to meanwhile.
    #[error(
        "the source was written to meanwhile; stop every daemon that serves it, and move again: what has arrived stays"
    )]
    Busy,
    /// A store failed.
    #[error("a store failed; move again once it works: what has arrived stays")]
    Store(#[source] Box<Fault>),
}

impl<E: Into<Fault>> From<E> for TransferError {
    fn from(error: E) -> Self {
        Self::Store(Box::new(error.into()))
    }
}

/// Moves everything from `source` to `target` and proves it there; `progress` hears what was moved so far.
///
/// The source stays as it is.
///
/// # Errors
/// [`TransferError`]; what has arrived stays, and moving again goes on after it.
pub fn transfer(
    source: &dyn Store,
    target: &dyn Store,
    progress: &mut dyn FnMut(&Moved),
) -> Result<Moved, TransferError> {
    let mut moved = Moved::default();
    let heads = streams(source)?;
    check_target(source, target, &heads)?;
    let mut after = None;
    loop {
        let listed = source.blobs(after.as_ref(), LIST)?;
        let Some((last, _)) = listed.last() else {
            break;
        };
        after = Some(*last);
        for (id, _) in &listed {
            move_blob(source, target, id, &mut moved)?;
            progress(&moved);
        }
    }
    for (spool, count) in source.spools()? {
        move_spool(source, target, &spool, count)?;
        moved.spool_count += 1;
    }
    for (stream, head) in &heads {
        move_stream(source, target, stream, head, &mut moved)?;
        progress(&moved);
    }
    let arrived = head_of_all(target)?;
    if head_of_all(source)? != arrived {
        return Err(TransferError::Busy);
    }
    Ok(moved)
}

fn streams(store: &dyn Store) -> Result<Vec<(StreamName, Head)>, TransferError> {
    let mut all: Vec<(StreamName, Head)> = Vec::new();
    loop {
        let after = all.last().map(|(name, _)| name.clone());
        let listed = store.streams("", after.as_ref(), LIST)?;
        if listed.is_empty() {
            return Ok(all);
        }
        all.extend(listed);
    }
}

/// Checks, before anything is written, that whatever the target has is the beginning of what the source has.
fn check_target(
    source: &dyn Store,
    target: &dyn Store,
    heads: &[(StreamName, Head)],
) -> Result<(), TransferError> {
    let other = |name: &StreamName, problem| {
        let name = name.clone();
        Err(TransferError::OtherLedger { name, problem })
    };
    for (name, there) in streams(target)? {
        let Ok(place) = heads.binary_search_by(|(known, _)| known.cmp(&name)) else {
            return other(&name, "not in the source");
        };
        if there.next_seq > heads[place].1.next_seq {
            return other(&name, "has more records there than in the source");
        }
        let last = source.read(&name, there.next_seq - 1, 1)?;
        if last.first().map(Record::head_after) != Some(there) {
            return other(&name, "has other records there than in the source");
        }
    }
    Ok(())
}

/// Moves a blob, then reads it back: its name is the hash of its content, which the reader proves.
fn move_blob(
    source: &dyn Store,
    target: &dyn Store,
    id: &BlobId,
    moved: &mut Moved,
) -> Result<(), TransferError> {
    match prove_blob(target, id) {
        Ok(_) => {
            moved.known_blob_count += 1;
            return Ok(());
        }
        Err(BlobError::Missing { .. }) => {}
        Err(other) => return Err(other.into()),
    }
    let mut reader = source.open_blob(id)?;
    let mut writer = target.begin_blob()?;
    let mut buffer = vec![0; BLOB_BYTES];
    loop {
        let count = reader
            .read(&mut buffer)
            .map_err(|error| unreadable(id, error))?;
        if count == 0 {
            break;
        }
        writer.write(&buffer[..count])?;
    }
    if writer.commit()? != *id {
        return Err(TransferError::Changed {
            what: format!("blob {id}"),
        });
    }
    moved.blob_bytes += prove_blob(target, id)?;
    moved.blob_count += 1;
    Ok(())
}

/// Reads a blob to its end and returns its length.
fn prove_blob(store: &dyn Store, id: &BlobId) -> Result<u64, BlobError> {
    let mut reader = store.open_blob(id)?;
    let mut buffer = vec![0; BLOB_BYTES];
    while reader
        .read(&mut buffer)
        .map_err(|error| unreadable(id, error))?
        > 0
    {}
    Ok(reader.len())
}

fn unreadable(id: &BlobId, error: std::io::Error) -> BlobError {
    match error.downcast::<baytrim_ledger::Damage>() {
        Ok(damage) => BlobError::Fault(damage.into()),
        Err(error) => {
            baytrim_ledger::StoreFault::from_io(format!("reading blob {id}"), error).into()
        }
    }
}

/// Moves a live pull that is not finished. One of the same name that began otherwise is an older one, dropped here since.
fn move_spool(
    source: &dyn Store,
    target: &dyn Store,
    spool: &StreamName,
    count: u64,
) -> Result<(), TransferError> {
    let mut next = target.spool_len(spool)?;
    let is_same =
        next <= count && source.spool_read(spool, 0, 1)? == target.spool_read(spool, 0, 1)?;
    if next > 0 && !is_same {
        target.spool_drop(spool)?;
        next = 0;
    }
    while next < count {
        let chunks = source.spool_read(spool, next, CHUNKS)?;
        if chunks.is_empty() {
            return Err(TransferError::Busy);
        }
        for (number, chunk) in chunks {
            next = target.spool_append(spool, number, &chunk)?;
            if target.spool_read(spool, number, 1)? != [(number, chunk)] {
                return Err(TransferError::Changed {
                    what: format!("chunk {number} of live pull {spool}"),
                });
            }
        }
    }
    Ok(())
}

/// Moves the records that the target lacks. The head that the target gives back is the hash over all of them.
fn move_stream(
    source: &dyn Store,
    target: &dyn Store,
    stream: &StreamName,
    until: &Head,
    moved: &mut Moved,
) -> Result<(), TransferError> {
    let mut head = target.head(stream)?;
    moved.known_record_count += head.next_seq;
    while head.next_seq < until.next_seq {
        let mut bytes = 0;
        let fits = |record: &Record| {
            let is_first = bytes == 0;
            bytes += record.body.len() + 1;
            record.seq < until.next_seq && (is_first || bytes <= APPEND_BYTES)
        };
        let records = source.read(stream, head.next_seq, RECORDS)?;
        let records: Vec<Record> = records.into_iter().take_while(fits).collect();
        let Some(last) = records.last() else {
            let what = "a stream ends before its head";
            return Err(InternalFault::Impossible(what).into());
        };
        let wanted = last.head_after();
        let bodies: Vec<Vec<u8>> = records.into_iter().map(|record| record.body).collect();
        head = match target.append(stream, &head, &bodies) {
            Ok(after) => after,
            Err(AppendError::Conflict { .. }) => return Err(TransferError::Busy),
            Err(other) => return Err(other.into()),
        };
        if head != wanted {
            return Err(TransferError::Changed {
                what: format!("stream {stream}, record {}", wanted.next_seq - 1),
            });
        }
        moved.record_count += bodies.len() as u64;
    }
    Ok(())
}
