//! What a store answers when it does not do what it was asked.

use crate::blob::BlobId;
use crate::fault::StoreFault;
use crate::name::StreamName;
use crate::record::Head;

/// Says why records were not appended.
///
/// After [`AppendError::Fault`] the append is ambiguous: it may have landed. Read the stream back and
/// compare hashes before trying again.
#[derive(Debug, thiserror::Error)]
pub enum AppendError {
    /// Somebody else appended first; nothing was written.
    #[error("stream {stream} has moved on: its head is record count {} with hash {}; read it again and decide anew", head.next_seq, head.hash)]
    Conflict {
        /// The stream.
        stream: StreamName,
        /// Where it really ends; durable.
        head: Head,
    },
    /// The request exceeds a limit; nothing was written.
    #[error(
        "{what} is {actual}, at most {max} is allowed; put large content into a blob, many records into several appends"
    )]
    TooLarge {
        /// Which measure.
        what: &'static str,
        /// Its value.
        actual: usize,
        /// Its limit, one of [`crate::limits`].
        max: usize,
    },
    /// The store failed.
    #[error(transparent)]
    Fault(#[from] StoreFault),
}

/// Says why a blob was not written or read.
#[derive(Debug, thiserror::Error)]
pub enum BlobError {
    /// There is no such blob.
    #[error("there is no blob {id}")]
    Missing {
        /// The blob asked for.
        id: BlobId,
    },
    /// The blob exceeds a limit.
    #[error("the blob has {actual} bytes or more, at most {max} are allowed")]
    TooLarge {
        /// Bytes seen so far, or the blob's length.
        actual: u64,
        /// The limit of the store or of the caller.
        max: u64,
    },
    /// The store failed.
    #[error(transparent)]
    Fault(#[from] StoreFault),
}

/// Says why a spool did not take a chunk.
#[derive(Debug, thiserror::Error)]
pub enum SpoolError {
    /// The chunk is not the next one; nothing was written.
    #[error("spool {spool} expects chunk {next}; send that one")]
    Conflict {
        /// The spool.
        spool: StreamName,
        /// The number of the next chunk; all before it are durable.
        next: u64,
    },
    /// The chunk exceeds [`crate::limits::CHUNK_BYTES_MAX`]; nothing was written.
    #[error("the chunk has {actual} bytes, at most {max} are allowed; send smaller batches")]
    TooLarge {
        /// Bytes given.
        actual: usize,
        /// Bytes allowed.
        max: usize,
    },
    /// The store failed.
    #[error(transparent)]
    Fault(#[from] StoreFault),
}
