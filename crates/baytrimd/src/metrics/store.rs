//! A store that counts and times what is written through it.

use std::sync::Arc;
use std::time::Instant;

use baytrim_ledger::{
    AppendError, BlobError, BlobId, BlobReader, BlobWriter, Head, Record, Snapshot, SpoolError,
    Store, StoreFault, StreamName, VerifyProgress, VerifyReport,
};

use super::{Metrics, Write, Written};
use crate::telemetry;

/// What can be written.
pub(super) const KINDS: [&str; 2] = ["record", "spool"];

/// How a write ends that the store could not make.
pub(super) const FAILED: &str = "failed";

/// A store that counts and times what is written through it; all else passes.
pub struct Metered {
    inner: Arc<dyn Store>,
    metrics: Arc<Metrics>,
}

impl Metered {
    /// Returns `inner`, counted in `metrics`.
    pub fn new(inner: Arc<dyn Store>, metrics: Arc<Metrics>) -> Self {
        Self { inner, metrics }
    }

    #[expect(
        clippy::disallowed_methods,
        reason = "how long a write took goes into metrics only"
    )]
    fn timed<T, E>(
        &self,
        what: &'static str,
        bytes: usize,
        is_failure: impl Fn(&E) -> bool,
        write: impl FnOnce(&dyn Store) -> Result<T, E>,
    ) -> Result<T, E> {
        let began = Instant::now();
        let written = telemetry::write(what, bytes).in_scope(|| write(&*self.inner));
        let ended = match &written {
            Ok(_) => "durable",
            Err(error) if is_failure(error) => FAILED,
            Err(_) => "refused",
        };
        let metrics = &self.metrics;
        metrics.writes.get_or_create(&Written { what, ended }).inc();
        if written.is_ok() {
            metrics.written.inc_by(bytes as u64);
            let durations = &metrics.write_duration;
            let elapsed_s = began.elapsed().as_secs_f64();
            durations.get_or_create(&Write { what }).observe(elapsed_s);
        }
        written
    }
}

impl Store for Metered {
    fn append(
        &self,
        stream: &StreamName,
        expected: &Head,
        bodies: &[Vec<u8>],
    ) -> Result<Head, AppendError> {
        let bytes = bodies.iter().map(Vec::len).sum();
        let is_failure = |error: &AppendError| matches!(error, AppendError::Fault(_));
        self.timed("record", bytes, is_failure, |store| {
            store.append(stream, expected, bodies)
        })
    }

    fn spool_append(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunk: &[u8],
    ) -> Result<u64, SpoolError> {
        let is_failure = |error: &SpoolError| matches!(error, SpoolError::Fault(_));
        self.timed("spool", chunk.len(), is_failure, |store| {
            store.spool_append(spool, expected_next, chunk)
        })
    }

    fn spool_append_all(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunks: &[Vec<u8>],
    ) -> Result<u64, SpoolError> {
        let bytes = chunks.iter().map(Vec::len).sum();
        let is_failure = |error: &SpoolError| matches!(error, SpoolError::Fault(_));
        self.timed("spool", bytes, is_failure, |store| {
            store.spool_append_all(spool, expected_next, chunks)
        })
    }

    fn head(&self, stream: &StreamName) -> Result<Head, StoreFault> {
        self.inner.head(stream)
    }

    fn read(
        &self,
        stream: &StreamName,
        from_seq: u64,
        limit: usize,
    ) -> Result<Vec<Record>, StoreFault> {
        self.inner.read(stream, from_seq, limit)
    }

    fn streams(
        &self,
        prefix: &str,
        after: Option<&StreamName>,
        limit: usize,
    ) -> Result<Vec<(StreamName, Head)>, StoreFault> {
        self.inner.streams(prefix, after, limit)
    }

    fn begin_blob(&self) -> Result<Box<dyn BlobWriter>, BlobError> {
        self.inner.begin_blob()
    }

    fn open_blob(&self, id: &BlobId) -> Result<BlobReader, BlobError> {
        self.inner.open_blob(id)
    }

    fn blobs(
        &self,
        after: Option<&BlobId>,
        limit: usize,
    ) -> Result<Vec<(BlobId, u64)>, StoreFault> {
        self.inner.blobs(after, limit)
    }

    fn remove_blob(&self, id: &BlobId) -> Result<(), StoreFault> {
        self.inner.remove_blob(id)
    }

    fn spool_len(&self, spool: &StreamName) -> Result<u64, StoreFault> {
        self.inner.spool_len(spool)
    }

    fn spool_read(
        &self,
        spool: &StreamName,
        from: u64,
        limit: usize,
    ) -> Result<Vec<(u64, Vec<u8>)>, StoreFault> {
        self.inner.spool_read(spool, from, limit)
    }

    fn spool_drop(&self, spool: &StreamName) -> Result<(), StoreFault> {
        self.inner.spool_drop(spool)
    }

    fn spools(&self) -> Result<Vec<(StreamName, u64)>, StoreFault> {
        self.inner.spools()
    }

    fn put_snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
        at: &Head,
        bytes: &[u8],
    ) -> Result<bool, StoreFault> {
        self.inner.put_snapshot(stream, name, at, bytes)
    }

    fn snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
    ) -> Result<Option<Snapshot>, StoreFault> {
        self.inner.snapshot(stream, name)
    }

    fn is_shared(&self) -> bool {
        self.inner.is_shared()
    }

    fn verify(&self, progress: &mut dyn FnMut(VerifyProgress)) -> Result<VerifyReport, StoreFault> {
        self.inner.verify(progress)
    }
}
