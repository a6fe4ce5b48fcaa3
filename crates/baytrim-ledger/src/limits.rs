//! The limits of every store, each with its reason.

use crate::error::{AppendError, SpoolError};

/// Longest stream or spool name, in bytes: it is part of every index key and every frame.
pub const STREAM_NAME_BYTES_MAX: usize = 128;

/// Largest body of one record, in bytes.
///
/// A proposal for the largest table, 64 x 64 nodes, takes up to 2.6 MB as JSON; what is larger is a blob.
pub const BODY_BYTES_MAX: usize = 4 << 20;

/// Most bodies in one append: one decision writes a handful of records; an import goes in slices.
pub const APPEND_BODIES_MAX: usize = 256;

/// Most bytes of all bodies in one append: the whole append is one journal frame, held in memory when read.
pub const APPEND_BYTES_MAX: usize = 8 << 20;

/// Largest chunk of a spool, in bytes: twenty times a batch of 1000 samples with ten channels of four bytes.
pub const CHUNK_BYTES_MAX: usize = 1 << 20;

/// Largest blob, in bytes: twice the largest log that intake accepts.
pub const BLOB_BYTES_MAX: u64 = 2 << 30;

/// Largest snapshot that a store keeps, in bytes; a larger one is cheaper to fold again than to cache.
pub const SNAPSHOT_BYTES_MAX: usize = 1 << 20;

/// Bytes of bodies or chunks after which one read stops early, so that no reader holds much memory.
pub const READ_BYTES_MAX: usize = 8 << 20;

/// Checks an append against the limits; for the implementations of stores.
///
/// # Errors
/// [`AppendError::TooLarge`].
pub fn check_append(bodies: &[Vec<u8>]) -> Result<(), AppendError> {
    let refuse = |what, actual, max| Err(AppendError::TooLarge { what, actual, max });
    if bodies.len() > APPEND_BODIES_MAX {
        return refuse(
            "the number of bodies in one append",
            bodies.len(),
            APPEND_BODIES_MAX,
        );
    }
    if let Some(body) = bodies.iter().find(|body| body.len() > BODY_BYTES_MAX) {
        return refuse("the length of a body in bytes", body.len(), BODY_BYTES_MAX);
    }
    let total: usize = bodies.iter().map(Vec::len).sum();
    if total > APPEND_BYTES_MAX {
        return refuse(
            "the length of all bodies of one append in bytes",
            total,
            APPEND_BYTES_MAX,
        );
    }
    Ok(())
}

/// Checks a chunk against the limit; for the implementations of stores.
///
/// # Errors
/// [`SpoolError::TooLarge`].
pub fn check_chunk(chunk: &[u8]) -> Result<(), SpoolError> {
    if chunk.len() > CHUNK_BYTES_MAX {
        return Err(SpoolError::TooLarge {
            actual: chunk.len(),
            max: CHUNK_BYTES_MAX,
        });
    }
    Ok(())
}
