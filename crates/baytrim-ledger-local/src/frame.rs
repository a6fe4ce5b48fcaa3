//! One frame of a log: length, checksum, number, hash, payload. Pure.

use baytrim_ledger::limits::{APPEND_BODIES_MAX, APPEND_BYTES_MAX};
use baytrim_ledger::{Hash, Hasher};

use crate::place::Reader;

/// Bytes of a frame's header: length (u32), CRC-32C (u32), seq (u64), hash (32).
pub(crate) const HEADER_BYTES: usize = 48;

/// Largest payload: one append of the largest size with its overhead; a larger length is damage.
pub(crate) const PAYLOAD_BYTES_MAX: usize = APPEND_BYTES_MAX + APPEND_BODIES_MAX * 36 + 1024;

const DOMAIN: &[u8; 13] = b"baytrim frame";
const VERSION: u8 = 1;

/// Is a frame's header, taken apart.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Header {
    pub(crate) payload_len: usize,
    pub(crate) checksum: u32,
    pub(crate) seq: u64,
    pub(crate) hash: Hash,
}

/// Returns the hash that chains a frame to the one before it.
pub(crate) fn frame_hash(seq: u64, prev_hash: &Hash, payload: &[u8]) -> Hash {
    let mut hasher = Hasher::new();
    hasher.update(DOMAIN);
    hasher.update(&[VERSION]);
    hasher.update(&seq.to_le_bytes());
    hasher.update(&prev_hash.0);
    hasher.update(&(payload.len() as u64).to_le_bytes());
    hasher.update(payload);
    hasher.finish()
}

fn checksum(len_bytes: [u8; 4], seq: u64, hash: &Hash, payload: &[u8]) -> u32 {
    let sum = crc32c::crc32c(&len_bytes);
    let sum = crc32c::crc32c_append(sum, &seq.to_le_bytes());
    let sum = crc32c::crc32c_append(sum, &hash.0);
    crc32c::crc32c_append(sum, payload)
}

/// Appends the frame `seq` that follows `prev_hash` to `out`; returns its hash.
pub(crate) fn encode(seq: u64, prev_hash: &Hash, payload: &[u8], out: &mut Vec<u8>) -> Hash {
    debug_assert!(
        payload.len() <= PAYLOAD_BYTES_MAX,
        "callers hold the limits"
    );
    let hash = frame_hash(seq, prev_hash, payload);
    let len_bytes = u32::try_from(payload.len())
        .unwrap_or(u32::MAX)
        .to_le_bytes();
    out.extend_from_slice(&len_bytes);
    out.extend_from_slice(&checksum(len_bytes, seq, &hash, payload).to_le_bytes());
    out.extend_from_slice(&seq.to_le_bytes());
    out.extend_from_slice(&hash.0);
    out.extend_from_slice(payload);
    hash
}

/// Takes a header apart.
///
/// # Errors
/// Says that the length cannot be.
pub(crate) fn decode_header(bytes: &[u8; HEADER_BYTES]) -> Result<Header, String> {
    let mut reader = Reader(bytes);
    let parts = (reader.u32(), reader.u32(), reader.u64(), reader.hash());
    let (Some(len), Some(checksum), Some(seq), Some(hash)) = parts else {
        return Err("the frame header is short".to_owned());
    };
    let payload_len = usize::try_from(len).unwrap_or(usize::MAX);
    if payload_len > PAYLOAD_BYTES_MAX {
        return Err(format!(
            "the frame claims a payload of {len} bytes, more than any can have"
        ));
    }
    Ok(Header {
        payload_len,
        checksum,
        seq,
        hash,
    })
}

/// Checks the checksum of header and payload.
///
/// # Errors
/// Says that it differs.
pub(crate) fn check_sum(header: &Header, payload: &[u8]) -> Result<(), String> {
    let len_bytes = u32::try_from(payload.len())
        .unwrap_or(u32::MAX)
        .to_le_bytes();
    let actual = checksum(len_bytes, header.seq, &header.hash, payload);
    if actual == header.checksum {
        return Ok(());
    }
    Err(format!(
        "the frame's checksum is {actual:08x}, not {:08x} as written",
        header.checksum
    ))
}

/// Checks that a frame follows the frame before it.
///
/// # Errors
/// Says which number or hash differs.
pub(crate) fn check_chain(
    header: &Header,
    payload: &[u8],
    prev_seq: u64,
    prev_hash: &Hash,
) -> Result<(), String> {
    if header.seq != prev_seq + 1 {
        return Err(format!(
            "frame {} stands where frame {} belongs",
            header.seq,
            prev_seq + 1
        ));
    }
    let actual = frame_hash(header.seq, prev_hash, payload);
    if actual != header.hash {
        return Err(format!(
            "frame {} hashes to {actual}, not to {} as written",
            header.seq, header.hash
        ));
    }
    Ok(())
}
