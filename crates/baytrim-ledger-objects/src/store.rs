//! The store: blobs in a bucket, everything else beneath.

use std::collections::BTreeMap;
use std::sync::Arc;

use baytrim_ledger::{
    AppendError, BlobError, BlobId, BlobReader, BlobWriter, Head, Record, Snapshot, SpoolError,
    Store, StoreFault, StreamName, VerifyProgress, VerifyReport, VerifyStage,
};

use crate::bucket::Bucket;
use crate::read;
use crate::write::Writer;

/// Blobs that are listed at a time while everything is checked.
const LIST: usize = 1000;

/// A store whose blobs are in a bucket. Blobs that the store beneath has from before are read from there.
pub struct WithObjects {
    beneath: Arc<dyn Store>,
    bucket: Arc<Bucket>,
}

impl WithObjects {
    /// Returns `beneath`, with its blobs in `bucket` from now on.
    pub fn new(beneath: Arc<dyn Store>, bucket: Bucket) -> Self {
        let bucket = Arc::new(bucket);
        Self { beneath, bucket }
    }

    fn verify_blob(&self, id: &BlobId, report: &mut VerifyReport) -> Result<(), StoreFault> {
        let Some(reader) = read::open(&self.bucket, id)? else {
            // It was removed since it was listed.
            return Ok(());
        };
        report.blob_count += 1;
        report.blob_bytes += reader.len();
        if let Some(found) = read::damage(reader)? {
            report.note(found);
        }
        Ok(())
    }
}

impl Store for WithObjects {
    fn begin_blob(&self) -> Result<Box<dyn BlobWriter>, BlobError> {
        Ok(Box::new(Writer::begin(&self.bucket)))
    }

    fn open_blob(&self, id: &BlobId) -> Result<BlobReader, BlobError> {
        match read::open(&self.bucket, id)? {
            Some(reader) => Ok(reader),
            None => self.beneath.open_blob(id),
        }
    }

    fn blobs(
        &self,
        after: Option<&BlobId>,
        limit: usize,
    ) -> Result<Vec<(BlobId, u64)>, StoreFault> {
        let mut all: BTreeMap<_, _> = self.beneath.blobs(after, limit)?.into_iter().collect();
        all.extend(self.bucket.list(after, limit)?);
        Ok(all.into_iter().take(limit).collect())
    }

    fn remove_blob(&self, id: &BlobId) -> Result<(), StoreFault> {
        self.bucket.remove(id)?;
        match self.beneath.open_blob(id) {
            Err(BlobError::Missing { .. }) => Ok(()),
            _ => self.beneath.remove_blob(id),
        }
    }

    fn verify(&self, progress: &mut dyn FnMut(VerifyProgress)) -> Result<VerifyReport, StoreFault> {
        let mut report = self.beneath.verify(progress)?;
        let mut after = None;
        loop {
            let listed = self.bucket.list(after.as_ref(), LIST)?;
            let Some((last, _)) = listed.last() else {
                return Ok(report);
            };
            after = Some(*last);
            for (id, _) in listed {
                self.verify_blob(&id, &mut report)?;
                progress(VerifyProgress {
                    stage: VerifyStage::Blobs,
                    done: report.blob_bytes,
                    total: report.blob_bytes,
                });
            }
        }
    }

    fn append(
        &self,
        stream: &StreamName,
        expected: &Head,
        bodies: &[Vec<u8>],
    ) -> Result<Head, AppendError> {
        self.beneath.append(stream, expected, bodies)
    }

    fn head(&self, stream: &StreamName) -> Result<Head, StoreFault> {
        self.beneath.head(stream)
    }

    fn read(
        &self,
        stream: &StreamName,
        from_seq: u64,
        limit: usize,
    ) -> Result<Vec<Record>, StoreFault> {
        self.beneath.read(stream, from_seq, limit)
    }

    fn streams(
        &self,
        prefix: &str,
        after: Option<&StreamName>,
        limit: usize,
    ) -> Result<Vec<(StreamName, Head)>, StoreFault> {
        self.beneath.streams(prefix, after, limit)
    }

    fn spool_append(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunk: &[u8],
    ) -> Result<u64, SpoolError> {
        self.beneath.spool_append(spool, expected_next, chunk)
    }

    fn spool_append_all(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunks: &[Vec<u8>],
    ) -> Result<u64, SpoolError> {
        self.beneath.spool_append_all(spool, expected_next, chunks)
    }

    fn spool_len(&self, spool: &StreamName) -> Result<u64, StoreFault> {
        self.beneath.spool_len(spool)
    }

    fn spool_read(
        &self,
        spool: &StreamName,
        from: u64,
        limit: usize,
    ) -> Result<Vec<(u64, Vec<u8>)>, StoreFault> {
        self.beneath.spool_read(spool, from, limit)
    }

    fn spool_drop(&self, spool: &StreamName) -> Result<(), StoreFault> {
        self.beneath.spool_drop(spool)
    }

    fn spools(&self) -> Result<Vec<(StreamName, u64)>, StoreFault> {
        self.beneath.spools()
    }

    fn put_snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
        at: &Head,
        bytes: &[u8],
    ) -> Result<bool, StoreFault> {
        self.beneath.put_snapshot(stream, name, at, bytes)
    }

    fn snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
    ) -> Result<Option<Snapshot>, StoreFault> {
        self.beneath.snapshot(stream, name)
    }

    fn is_shared(&self) -> bool {
        self.beneath.is_shared()
    }
}
