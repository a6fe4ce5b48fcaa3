//! Reads records and chunks back, believing nothing unchecked.

use std::sync::atomic::Ordering;

use baytrim_ledger::limits::READ_BYTES_MAX;
use baytrim_ledger::{Record, StoreFault, StreamName};

use crate::batch;
use crate::place::Place;
use crate::rescue;
use crate::segment::LogKind;
use crate::shared::Shared;

/// Returns records of a stream as [`baytrim_ledger::Store::read`] says.
///
/// # Errors
/// The fault or damage that keeps a record from being read.
pub(crate) fn records(
    shared: &Shared,
    stream: &StreamName,
    from_seq: u64,
    limit: usize,
) -> Result<Vec<Record>, StoreFault> {
    let head = shared.read_state().head(stream);
    let mut records: Vec<Record> = Vec::new();
    let mut bytes = 0;
    let mut seq = from_seq;
    while seq < head.next_seq && records.len() < limit {
        for record in frame_with(shared, stream, seq)? {
            if record.seq != seq || seq >= head.next_seq || records.len() >= limit {
                continue;
            }
            bytes += record.body.len();
            if bytes > READ_BYTES_MAX && !records.is_empty() {
                return Ok(records);
            }
            if records
                .last()
                .is_some_and(|last| last.hash != record.prev_hash)
            {
                return Err(unlinked(shared, &record).into());
            }
            records.push(record);
            seq += 1;
        }
    }
    if let Some(last) = records
        .last()
        .filter(|last| last.seq + 1 == head.next_seq && last.hash != head.hash)
    {
        return Err(unlinked(shared, last).into());
    }
    Ok(records)
}

fn unlinked(shared: &Shared, record: &Record) -> baytrim_ledger::Damage {
    let (stream, seq) = (Some(record.stream.clone()), Some(record.seq));
    let file = shared.log(LogKind::Journal).dir.display().to_string();
    let what = "the record does not link to its neighbour".to_owned();
    let advice = "verify the ledger and restore what it names from a backup".to_owned();
    baytrim_ledger::Damage {
        file,
        offset: None,
        stream,
        seq,
        what,
        advice,
    }
}

/// Returns the records of the frame that holds record `seq`.
fn frame_with(shared: &Shared, stream: &StreamName, seq: u64) -> Result<Vec<Record>, StoreFault> {
    let pending = shared.read_state().pending_place(stream, seq);
    if let Some(place) = pending
        && let Ok(records) = frame_at(shared, place, stream, seq)
    {
        return Ok(records);
    }
    if !shared.is_index_doubted.load(Ordering::Acquire) {
        let doubt = match shared.index.find(stream, seq) {
            Ok(Some(place)) => match frame_at(shared, place, stream, seq) {
                Ok(records) => return Ok(records),
                Err(fault) => {
                    format!("stream {stream}, record {seq} is not where it says: {fault}")
                }
            },
            Ok(None) => format!("stream {stream}, record {seq} is not in it"),
            Err(doubt) => doubt,
        };
        // The index may be wrong or the journal damaged; reading the journal tells which.
        if let Err(fault) = rescue::leave_index(shared, &doubt) {
            tracing::error!(%fault, "the journal is damaged");
        }
    }
    match shared.read_state().pending_place(stream, seq) {
        Some(place) => frame_at(shared, place, stream, seq),
        None => Err(missing(shared, stream, seq)),
    }
}

fn missing(shared: &Shared, stream: &StreamName, seq: u64) -> StoreFault {
    let file = shared.log(LogKind::Journal).dir.display().to_string();
    let what = "the record is not in the sound part of the journal".to_owned();
    let advice = "verify the ledger and restore what it names from a backup".to_owned();
    baytrim_ledger::Damage {
        file,
        offset: None,
        stream: Some(stream.clone()),
        seq: Some(seq),
        what,
        advice,
    }
    .into()
}

fn frame_at(
    shared: &Shared,
    place: Place,
    stream: &StreamName,
    seq: u64,
) -> Result<Vec<Record>, StoreFault> {
    let (_, payload) = shared.read_frame(LogKind::Journal, place)?;
    let what = match batch::decode(&payload) {
        Ok(records)
            if records
                .iter()
                .any(|record| &record.stream == stream && record.seq == seq) =>
        {
            return Ok(records);
        }
        Ok(_) => format!("the frame does not hold record {seq} of stream {stream}"),
        Err(what) => what,
    };
    let mut damage = shared
        .log(LogKind::Journal)
        .damage(place.segment, place.offset, what);
    (damage.stream, damage.seq) = (Some(stream.clone()), Some(seq));
    Err(damage.into())
}

/// Returns chunks of a spool as [`baytrim_ledger::Store::spool_read`] says.
///
/// # Errors
/// The fault or damage that keeps a chunk from being read.
pub(crate) fn chunks(
    shared: &Shared,
    spool: &StreamName,
    from: u64,
    limit: usize,
) -> Result<Vec<(u64, Vec<u8>)>, StoreFault> {
    let mut chunks = Vec::new();
    let mut bytes = 0;
    let mut number = from;
    while chunks.len() < limit {
        let Some(place) = place_of(shared, spool, number) else {
            break;
        };
        let chunk = match shared.read_chunk(spool, number, place) {
            Ok(chunk) => chunk,
            // Moved or dropped while being read.
            Err(_) if place_of(shared, spool, number) != Some(place) => continue,
            Err(fault) => return Err(fault),
        };
        bytes += chunk.len();
        if bytes > READ_BYTES_MAX && !chunks.is_empty() {
            break;
        }
        chunks.push((number, chunk));
        number += 1;
    }
    Ok(chunks)
}

fn place_of(shared: &Shared, spool: &StreamName, number: u64) -> Option<Place> {
    let places = shared.read_state().spools.places(spool, number, 1);
    places
        .first()
        .filter(|(found, _)| *found == number)
        .map(|(_, place)| *place)
}
