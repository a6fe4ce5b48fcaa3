//! What every store can do.

use std::io::Read as _;

use crate::blob::{BlobId, BlobReader, BlobWriter};
use crate::error::{AppendError, BlobError, SpoolError};
use crate::fault::{Damage, StoreFault};
use crate::name::StreamName;
use crate::record::{Head, Record};
use crate::verify::{VerifyProgress, VerifyReport};

/// Is a cached fold of the first records of a stream.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Snapshot {
    /// The head of the stream when the fold was made; folding goes on from its `next_seq`.
    pub at: Head,
    /// The fold, as its owner wrote it.
    pub bytes: Vec<u8>,
}

/// Keeps streams of records, blobs, spools and snapshots.
///
/// All calls block; a caller from async code uses a blocking thread. All calls may come from many threads at once.
/// What a call reports as written is durable when it returns.
pub trait Store: Send + Sync {
    /// Appends `bodies` to `stream` if its head is still `expected`; all land or none. Returns the new head.
    ///
    /// An empty list of bodies only compares the head.
    ///
    /// # Errors
    /// [`AppendError::Conflict`] with the real head when somebody else was first, [`AppendError::TooLarge`]
    /// beyond a limit; both leave the stream as it was.
    /// After [`AppendError::Fault`] the append may have landed: read back and compare before trying again.
    fn append(
        &self,
        stream: &StreamName,
        expected: &Head,
        bodies: &[Vec<u8>],
    ) -> Result<Head, AppendError>;

    /// Returns the head of `stream`; [`Head::EMPTY`] when nothing was ever appended.
    ///
    /// # Errors
    /// The store's fault.
    fn head(&self, stream: &StreamName) -> Result<Head, StoreFault>;

    /// Returns at most `limit` records of `stream` from number `from_seq` on, in order, hashes checked.
    ///
    /// Stops early after [`crate::limits::READ_BYTES_MAX`] of bodies, but never returns nothing while there is
    /// a record `from_seq` (and `limit` is not 0).
    ///
    /// # Errors
    /// The store's fault; [`StoreFault::Damaged`] names the record whose bytes are not what was written.
    fn read(
        &self,
        stream: &StreamName,
        from_seq: u64,
        limit: usize,
    ) -> Result<Vec<Record>, StoreFault>;

    /// Returns at most `limit` streams whose names start with `prefix` and sort after `after`, in byte order.
    ///
    /// # Errors
    /// The store's fault.
    fn streams(
        &self,
        prefix: &str,
        after: Option<&StreamName>,
        limit: usize,
    ) -> Result<Vec<(StreamName, Head)>, StoreFault>;

    /// Begins a blob.
    ///
    /// # Errors
    /// The store's fault.
    fn begin_blob(&self) -> Result<Box<dyn BlobWriter>, BlobError>;

    /// Opens a blob for reading; the reader proves at its end that the content is right.
    ///
    /// # Errors
    /// [`BlobError::Missing`], or the store's fault.
    fn open_blob(&self, id: &BlobId) -> Result<BlobReader, BlobError>;

    /// Returns at most `limit` blobs that sort after `after`, with their lengths in bytes.
    ///
    /// # Errors
    /// The store's fault.
    fn blobs(&self, after: Option<&BlobId>, limit: usize)
    -> Result<Vec<(BlobId, u64)>, StoreFault>;

    /// Removes a blob; fine when there is none. Whoever asks has made sure that nobody needs it, and has written that
    /// down. After a crash the blob may be there again.
    ///
    /// # Errors
    /// The store's fault; a store that can't remove says so.
    fn remove_blob(&self, id: &BlobId) -> Result<(), StoreFault> {
        let source = std::io::ErrorKind::Unsupported.into();
        Err(StoreFault::from_io(format!("removing blob {id}"), source))
    }

    /// Appends `chunk` as number `expected_next` of `spool`; returns the number of the next chunk.
    ///
    /// # Errors
    /// [`SpoolError::Conflict`] with the number that is expected, [`SpoolError::TooLarge`], or the store's fault.
    fn spool_append(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunk: &[u8],
    ) -> Result<u64, SpoolError>;

    /// Appends `chunks` from number `expected_next` of `spool` on; returns the number of the next chunk.
    ///
    /// They need not be there together: after an error or a crash a first part of them may be.
    ///
    /// # Errors
    /// As [`Store::spool_append`].
    fn spool_append_all(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunks: &[Vec<u8>],
    ) -> Result<u64, SpoolError> {
        let mut next = expected_next;
        for chunk in chunks {
            next = self.spool_append(spool, next, chunk)?;
        }
        Ok(next)
    }

    /// Returns the number of chunks in `spool`; 0 when there is no such spool.
    ///
    /// # Errors
    /// The store's fault.
    fn spool_len(&self, spool: &StreamName) -> Result<u64, StoreFault>;

    /// Returns at most `limit` chunks of `spool` from number `from` on, stopping early as [`Store::read`] does.
    ///
    /// # Errors
    /// The store's fault.
    fn spool_read(
        &self,
        spool: &StreamName,
        from: u64,
        limit: usize,
    ) -> Result<Vec<(u64, Vec<u8>)>, StoreFault>;

    /// Forgets `spool`; fine when there is none. Its name may be used again, from chunk 0.
    ///
    /// # Errors
    /// The store's fault.
    fn spool_drop(&self, spool: &StreamName) -> Result<(), StoreFault>;

    /// Returns all spools in byte order with their numbers of chunks.
    ///
    /// # Errors
    /// The store's fault.
    fn spools(&self) -> Result<Vec<(StreamName, u64)>, StoreFault>;

    /// Caches `bytes` as the fold `name` of `stream` at the head `at`, in place of an earlier one.
    ///
    /// Returns whether it was kept: larger than [`crate::limits::SNAPSHOT_BYTES_MAX`] it is not. A snapshot may vanish at any time.
    ///
    /// # Errors
    /// The store's fault.
    fn put_snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
        at: &Head,
        bytes: &[u8],
    ) -> Result<bool, StoreFault>;

    /// Returns the cached fold `name` of `stream`, if there is one and the stream still has `at` in its past.
    ///
    /// # Errors
    /// The store's fault.
    fn snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
    ) -> Result<Option<Snapshot>, StoreFault>;

    /// Tells whether other programs may write to the same content at the same time.
    fn is_shared(&self) -> bool {
        false
    }

    /// Reads everything and checks it: chains, checksums, blobs, index. Appends may go on meanwhile.
    ///
    /// # Errors
    /// Only when it could not look; what it found wrong is in the report.
    fn verify(&self, progress: &mut dyn FnMut(VerifyProgress)) -> Result<VerifyReport, StoreFault>;

    /// Writes `content` as a blob.
    ///
    /// # Errors
    /// As [`BlobWriter::write`] and [`BlobWriter::commit`].
    fn put_blob(&self, content: &[u8]) -> Result<BlobId, BlobError> {
        let mut writer = self.begin_blob()?;
        writer.write(content)?;
        writer.commit()
    }

    /// Returns the whole content of a blob of at most `max_len` bytes, proven.
    ///
    /// # Errors
    /// [`BlobError::Missing`], [`BlobError::TooLarge`], or the store's fault.
    fn read_blob(&self, id: &BlobId, max_len: u64) -> Result<Vec<u8>, BlobError> {
        let mut reader = self.open_blob(id)?;
        if reader.len() > max_len {
            return Err(BlobError::TooLarge {
                actual: reader.len(),
                max: max_len,
            });
        }
        let mut content = Vec::with_capacity(usize::try_from(reader.len()).unwrap_or(0));
        reader
            .read_to_end(&mut content)
            .map_err(|source| read_fault(id, source))?;
        Ok(content)
    }
}

fn read_fault(id: &BlobId, source: std::io::Error) -> StoreFault {
    match source.downcast::<Damage>() {
        Ok(damage) => damage.into(),
        Err(source) => match source.downcast::<StoreFault>() {
            Ok(fault) => fault,
            Err(source) => StoreFault::from_io(format!("reading blob {id}"), source),
        },
    }
}
