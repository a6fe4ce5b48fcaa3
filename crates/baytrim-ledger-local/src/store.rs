//! The store: callers' threads in front, one writing thread and one indexing thread behind.

use std::fs::File;
use std::ops::Bound;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::{self, JoinHandle};

use baytrim_ledger::limits::{self, SNAPSHOT_BYTES_MAX};
use baytrim_ledger::{
    AppendError, BlobError, BlobId, BlobReader, BlobWriter, Head, Record, Snapshot, SpoolError,
    Store, StoreFault, StreamName, VerifyProgress, VerifyReport,
};

use crate::batch;
use crate::blobs;
use crate::chunk;
use crate::crowd::Crowd;
use crate::disk::DiskFiles;
use crate::files::Files;
use crate::group::Job;
use crate::indexer;
use crate::journal::LogWriter;
use crate::open;
use crate::options::{OpenError, OpenReport, Options};
use crate::read;
use crate::segment::LogKind;
use crate::shared::Shared;
use crate::verify;
use crate::writer::Writer;

/// Groups that may wait for the index; beyond it the writer waits, so that memory stays bounded.
const INDEX_QUEUE_GROUPS: usize = 256;

/// Stores ledger bytes in one local directory.
///
/// Dropped, it finishes what was asked of it and gives the directory free.
pub struct LocalStore {
    shared: Arc<Shared>,
    jobs: Option<SyncSender<Job>>,
    threads: Vec<JoinHandle<()>>,
    // Last: the directory is free only when both threads are done.
    _lock: File,
}

impl LocalStore {
    /// Opens `dir`, setting it up when it is empty or missing; tells what was found and repaired.
    ///
    /// # Errors
    /// [`OpenError`] says why not, which file, and what to do; it never deletes acknowledged content.
    pub fn open(dir: &Path, options: &Options) -> Result<(Self, OpenReport), OpenError> {
        Self::open_on(Arc::new(DiskFiles), dir, options)
    }

    /// Opens `dir` through the given file layer; the index always uses the real one.
    ///
    /// # Errors
    /// As [`LocalStore::open`].
    pub fn open_on(
        files: Arc<dyn Files>,
        dir: &Path,
        options: &Options,
    ) -> Result<(Self, OpenReport), OpenError> {
        let parts = open::open(&files, dir, options)?;
        let open_log = |kind: LogKind, segment_bytes, end| {
            LogWriter::open(
                Arc::clone(&files),
                dir.join(kind.name()),
                kind,
                segment_bytes,
                end,
            )
        };
        let journal = open_log(
            LogKind::Journal,
            options.segment_bytes,
            parts.anchor.journal,
        )?;
        let spool = open_log(
            LogKind::Spool,
            options.spool_segment_bytes,
            parts.anchor.spool,
        )?;
        let shared = Arc::new(Shared::new(files, dir.to_owned(), parts.state, parts.index));
        let (index_queue, entries) = sync_channel(INDEX_QUEUE_GROUPS);
        let (jobs, queue) = sync_channel(options.queue_len);
        let writer = Writer {
            shared: Arc::clone(&shared),
            journal,
            spool,
            anchor: parts.anchor,
            anchor_file: parts.anchor_writer,
            spool_segment_bytes: options.spool_segment_bytes,
            index_queue,
            crowd: Crowd::new(options.clock),
        };
        let indexed = Arc::clone(&shared);
        let indexing = parts.indexing;
        let threads = vec![
            spawn("ledger-writer", move || writer.run(&queue))?,
            spawn("ledger-index", move || {
                indexer::run(&indexed, indexing, &entries);
            })?,
        ];
        tracing::info!(dir = %dir.display(), records = parts.report.record_count, index = ?parts.report.index, "ledger open");
        Ok((
            Self {
                shared,
                jobs: Some(jobs),
                threads,
                _lock: parts.lock,
            },
            parts.report,
        ))
    }

    /// Hands a job to the writer and waits for the answer.
    fn ask<T, E: From<StoreFault>>(
        &self,
        job: Job,
        answer: &Receiver<Result<T, E>>,
    ) -> Result<T, E> {
        let jobs = self.jobs.as_ref().ok_or(StoreFault::Closed)?;
        jobs.send(job).map_err(|_| StoreFault::Closed)?;
        // No answer: the writer died with the job.
        answer.recv().map_err(|_| StoreFault::Closed)?
    }

    fn ask_chunks(
        &self,
        spool: &StreamName,
        number: u64,
        payloads: Vec<Vec<u8>>,
    ) -> Result<u64, SpoolError> {
        self.shared.poison.check()?;
        let (reply, answer) = sync_channel(1);
        let spool = spool.clone();
        self.ask(
            Job::Chunks {
                spool,
                number,
                payloads,
                reply,
            },
            &answer,
        )
    }

    fn has_in_past(&self, stream: &StreamName, at: &Head) -> Result<bool, StoreFault> {
        let head = self.shared.read_state().head(stream);
        if at == &head || at == &Head::EMPTY {
            return Ok(true);
        }
        if at.next_seq == 0 || at.next_seq > head.next_seq {
            return Ok(false);
        }
        let records = read::records(&self.shared, stream, at.next_seq - 1, 1)?;
        Ok(records
            .first()
            .is_some_and(|record| record.head_after() == *at))
    }
}

fn spawn(name: &str, work: impl FnOnce() + Send + 'static) -> Result<JoinHandle<()>, StoreFault> {
    let spawned = thread::Builder::new().name(name.to_owned()).spawn(work);
    spawned.map_err(|source| StoreFault::from_io(format!("starting the thread {name}"), source))
}

impl Drop for LocalStore {
    fn drop(&mut self) {
        // The writer ends when the last sender of jobs is gone, the indexer when the writer is.
        self.jobs = None;
        for thread in self.threads.drain(..) {
            if thread.join().is_err() {
                tracing::error!("a thread of the ledger panicked");
            }
        }
    }
}

impl Store for LocalStore {
    fn append(
        &self,
        stream: &StreamName,
        expected: &Head,
        bodies: &[Vec<u8>],
    ) -> Result<Head, AppendError> {
        limits::check_append(bodies)?;
        self.shared.poison.check()?;
        let head = self.shared.read_state().head(stream);
        // A head that was overtaken never comes back; one not reached yet may be on its way.
        if bodies.is_empty() || expected.next_seq < head.next_seq {
            let is_met = head == *expected;
            return if is_met {
                Ok(head)
            } else {
                Err(AppendError::Conflict {
                    stream: stream.clone(),
                    head,
                })
            };
        }
        let (payload, after) = batch::encode(stream, expected, bodies);
        let (reply, answer) = sync_channel(1);
        let job = Job::Append {
            stream: stream.clone(),
            expected: *expected,
            after,
            payload,
            reply,
        };
        self.ask(job, &answer)
    }

    fn head(&self, stream: &StreamName) -> Result<Head, StoreFault> {
        Ok(self.shared.read_state().head(stream))
    }

    fn read(
        &self,
        stream: &StreamName,
        from_seq: u64,
        limit: usize,
    ) -> Result<Vec<Record>, StoreFault> {
        read::records(&self.shared, stream, from_seq, limit)
    }

    fn streams(
        &self,
        prefix: &str,
        after: Option<&StreamName>,
        limit: usize,
    ) -> Result<Vec<(StreamName, Head)>, StoreFault> {
        let start = match after {
            Some(after) if after.as_str() >= prefix => Bound::Excluded(after.as_str()),
            _ => Bound::Included(prefix),
        };
        let state = self.shared.read_state();
        let from = state.heads.range::<str, _>((start, Bound::Unbounded));
        let matching = from
            .take_while(|(name, _)| name.as_str().starts_with(prefix))
            .take(limit);
        Ok(matching.map(|(name, head)| (name.clone(), *head)).collect())
    }

    fn begin_blob(&self) -> Result<Box<dyn BlobWriter>, BlobError> {
        blobs::begin(&self.shared)
    }

    fn open_blob(&self, id: &BlobId) -> Result<BlobReader, BlobError> {
        blobs::open(&self.shared, id)
    }

    fn blobs(
        &self,
        after: Option<&BlobId>,
        limit: usize,
    ) -> Result<Vec<(BlobId, u64)>, StoreFault> {
        blobs::list(&self.shared, after, limit)
    }

    fn remove_blob(&self, id: &BlobId) -> Result<(), StoreFault> {
        blobs::remove(&self.shared, id)
    }

    fn spool_append(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunk: &[u8],
    ) -> Result<u64, SpoolError> {
        limits::check_chunk(chunk)?;
        let payload = chunk::encode_chunk(spool, expected_next, chunk);
        self.ask_chunks(spool, expected_next, vec![payload])
    }

    /// One sync for all of them, shared with whatever else waits.
    fn spool_append_all(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunks: &[Vec<u8>],
    ) -> Result<u64, SpoolError> {
        chunks
            .iter()
            .try_for_each(|chunk| limits::check_chunk(chunk))?;
        let numbered = (expected_next..).zip(chunks);
        let payloads = numbered.map(|(number, chunk)| chunk::encode_chunk(spool, number, chunk));
        self.ask_chunks(spool, expected_next, payloads.collect())
    }

    fn spool_len(&self, spool: &StreamName) -> Result<u64, StoreFault> {
        Ok(self.shared.read_state().spools.next(spool))
    }

    fn spool_read(
        &self,
        spool: &StreamName,
        from: u64,
        limit: usize,
    ) -> Result<Vec<(u64, Vec<u8>)>, StoreFault> {
        read::chunks(&self.shared, spool, from, limit)
    }

    fn spool_drop(&self, spool: &StreamName) -> Result<(), StoreFault> {
        self.shared.poison.check()?;
        let (reply, answer) = sync_channel(1);
        self.ask(
            Job::Drop {
                spool: spool.clone(),
                payload: chunk::encode_drop(spool),
                reply,
            },
            &answer,
        )
    }

    fn spools(&self) -> Result<Vec<(StreamName, u64)>, StoreFault> {
        Ok(self.shared.read_state().spools.list())
    }

    fn put_snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
        at: &Head,
        bytes: &[u8],
    ) -> Result<bool, StoreFault> {
        if bytes.len() > SNAPSHOT_BYTES_MAX {
            return Ok(false);
        }
        match self.shared.index.put_snapshot(stream, name, (at, bytes)) {
            Ok(()) => Ok(true),
            Err(doubt) => {
                tracing::warn!(doubt, "a snapshot was not kept");
                Ok(false)
            }
        }
    }

    fn snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
    ) -> Result<Option<Snapshot>, StoreFault> {
        let found = self
            .shared
            .index
            .snapshot(stream, name)
            .unwrap_or_else(|doubt| {
                tracing::warn!(doubt, "a snapshot could not be read");
                None
            });
        match found {
            Some(snapshot) if self.has_in_past(stream, &snapshot.at)? => Ok(Some(snapshot)),
            _ => Ok(None),
        }
    }

    fn verify(&self, progress: &mut dyn FnMut(VerifyProgress)) -> Result<VerifyReport, StoreFault> {
        verify::verify(&self.shared, progress)
    }
}
