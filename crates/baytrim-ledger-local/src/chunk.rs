//! The payload of a spool frame: a chunk, or the end of a spool. Pure.

use baytrim_ledger::StreamName;

use crate::batch::name;
use crate::place::Reader;

const KIND_CHUNK: u8 = 2;
const KIND_DROP: u8 = 3;

/// Is what a spool frame says.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum SpoolFrame<'a> {
    /// Chunk `number` of a spool; said again when it was moved to a later segment.
    Chunk {
        spool: StreamName,
        number: u64,
        bytes: &'a [u8],
    },
    /// The spool is forgotten.
    Drop { spool: StreamName },
}

/// Returns the payload of a chunk: kind `2` (u8), name length (u8), name, number (u64), the bytes.
pub(crate) fn encode_chunk(spool: &StreamName, number: u64, bytes: &[u8]) -> Vec<u8> {
    let mut out = encode_start(KIND_CHUNK, spool, 8 + bytes.len());
    out.extend_from_slice(&number.to_le_bytes());
    out.extend_from_slice(bytes);
    out
}

/// Returns the payload of a spool's end: kind `3` (u8), name length (u8), name.
pub(crate) fn encode_drop(spool: &StreamName) -> Vec<u8> {
    encode_start(KIND_DROP, spool, 0)
}

fn encode_start(kind: u8, spool: &StreamName, more: usize) -> Vec<u8> {
    let name = spool.as_str().as_bytes();
    let mut out = Vec::with_capacity(2 + name.len() + more);
    out.extend_from_slice(&[kind, u8::try_from(name.len()).unwrap_or(u8::MAX)]);
    out.extend_from_slice(name);
    out
}

/// Takes a payload apart.
///
/// # Errors
/// Says what is wrong.
pub(crate) fn decode(payload: &[u8]) -> Result<SpoolFrame<'_>, String> {
    let short = || "the frame's payload is cut short".to_owned();
    let mut reader = Reader(payload);
    let kind = reader.u8().ok_or_else(short)?;
    let spool = name(&mut reader)?;
    match kind {
        KIND_CHUNK => {
            let number = reader.u64().ok_or_else(short)?;
            Ok(SpoolFrame::Chunk {
                spool,
                number,
                bytes: reader.0,
            })
        }
        KIND_DROP if reader.0.is_empty() => Ok(SpoolFrame::Drop { spool }),
        KIND_DROP => Err("bytes follow the end of a spool".to_owned()),
        other => Err(format!(
            "the frame is of kind {other}, unknown to this version"
        )),
    }
}
