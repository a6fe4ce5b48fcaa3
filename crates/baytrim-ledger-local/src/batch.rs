//! The payload of a journal frame: the records of one append. Pure.

use baytrim_ledger::limits::{APPEND_BODIES_MAX, BODY_BYTES_MAX};
use baytrim_ledger::{Head, Record, StreamName, chain};

use crate::place::Reader;

const KIND_RECORDS: u8 = 1;

/// Returns the payload that appends `bodies` to `stream` at `head`, and the head after it.
///
/// Encoding: kind `1` (u8), name length (u8), name, seq of the first record (u64), hash before it (32),
/// count (u32), then per record: body length (u32), body, hash (32).
pub(crate) fn encode(stream: &StreamName, head: &Head, bodies: &[Vec<u8>]) -> (Vec<u8>, Head) {
    let name = stream.as_str().as_bytes();
    let body_bytes: usize = bodies.iter().map(Vec::len).sum();
    let mut out = Vec::with_capacity(46 + name.len() + body_bytes + 36 * bodies.len());
    out.extend_from_slice(&[KIND_RECORDS, u8::try_from(name.len()).unwrap_or(u8::MAX)]);
    out.extend_from_slice(name);
    out.extend_from_slice(&head.next_seq.to_le_bytes());
    out.extend_from_slice(&head.hash.0);
    out.extend_from_slice(
        &u32::try_from(bodies.len())
            .unwrap_or(u32::MAX)
            .to_le_bytes(),
    );
    let mut head = *head;
    for body in bodies {
        let hash = chain::record_hash(stream, head.next_seq, &head.hash, body);
        out.extend_from_slice(&u32::try_from(body.len()).unwrap_or(u32::MAX).to_le_bytes());
        out.extend_from_slice(body);
        out.extend_from_slice(&hash.0);
        head = Head {
            next_seq: head.next_seq + 1,
            hash,
        };
    }
    (out, head)
}

/// Is what a journal frame says, without the bodies.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Outline {
    pub(crate) stream: StreamName,
    pub(crate) before: Head,
    pub(crate) after: Head,
}

/// Returns the records in a payload, each with a sound hash and chained to the one before it.
///
/// # Errors
/// Says what is wrong.
pub(crate) fn decode(payload: &[u8]) -> Result<Vec<Record>, String> {
    let mut records = Vec::new();
    let outline = walk(payload, |stream, head, body, hash| {
        let (seq, prev_hash) = (head.next_seq, head.hash);
        records.push(Record {
            stream: stream.clone(),
            seq,
            prev_hash,
            hash,
            body: body.to_vec(),
        });
    })?;
    let mut head = outline.before;
    for record in &records {
        head = chain::check(&head, record).map_err(|error| error.to_string())?;
    }
    Ok(records)
}

/// Returns what a payload says without hashing its bodies.
///
/// # Errors
/// Says what is wrong.
pub(crate) fn outline(payload: &[u8]) -> Result<Outline, String> {
    walk(payload, |_, _, _, _| ())
}

fn walk(
    payload: &[u8],
    mut visit: impl FnMut(&StreamName, &Head, &[u8], baytrim_ledger::Hash),
) -> Result<Outline, String> {
    let short = || "the frame's payload is cut short".to_owned();
    let mut reader = Reader(payload);
    let kind = reader.u8().ok_or_else(short)?;
    if kind != KIND_RECORDS {
        return Err(format!(
            "the frame is of kind {kind}, unknown to this version"
        ));
    }
    let stream = name(&mut reader)?;
    let next_seq = reader.u64().ok_or_else(short)?;
    let before = Head {
        next_seq,
        hash: reader.hash().ok_or_else(short)?,
    };
    let count = reader.u32().ok_or_else(short)? as usize;
    if count == 0 || count > APPEND_BODIES_MAX {
        return Err(format!("the frame claims {count} records"));
    }
    let mut head = before;
    for _ in 0..count {
        let len = reader.u32().ok_or_else(short)? as usize;
        if len > BODY_BYTES_MAX {
            return Err(format!(
                "record {} claims a body of {len} bytes",
                head.next_seq
            ));
        }
        let body = reader.bytes(len).ok_or_else(short)?;
        let hash = reader.hash().ok_or_else(short)?;
        visit(&stream, &head, body, hash);
        let next_seq = head
            .next_seq
            .checked_add(1)
            .ok_or("the record number overflows")?;
        head = Head { next_seq, hash };
    }
    if !reader.0.is_empty() {
        return Err(format!(
            "{} bytes follow the frame's last record",
            reader.0.len()
        ));
    }
    Ok(Outline {
        stream,
        before,
        after: head,
    })
}

/// Takes a length-prefixed name.
///
/// # Errors
/// Says what is wrong with it.
pub(crate) fn name(reader: &mut Reader<'_>) -> Result<StreamName, String> {
    let short = || "the frame's payload is cut short".to_owned();
    let len = reader.u8().ok_or_else(short)?;
    let bytes = reader.bytes(len.into()).ok_or_else(short)?;
    let text = std::str::from_utf8(bytes).map_err(|_| "the frame's name is not text".to_owned())?;
    StreamName::new(text).map_err(|error| error.to_string())
}
