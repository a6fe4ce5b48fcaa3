//! A store in memory, for tests and for the model that other stores are compared with.

mod blob;

use std::collections::BTreeMap;
use std::io::Cursor;
use std::ops::Bound;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::blob::{BlobId, BlobReader, BlobWriter};
use crate::chain;
use crate::error::{AppendError, BlobError, SpoolError};
use crate::fault::{Damage, StoreFault};
use crate::limits::{self, READ_BYTES_MAX, SNAPSHOT_BYTES_MAX};
use crate::name::StreamName;
use crate::record::{Head, Record};
use crate::store::{Snapshot, Store};
use crate::verify::{VerifyProgress, VerifyReport, VerifyStage};

use blob::{MemoryBlob, Shared};

/// Keeps everything in memory and loses it when dropped; clones share one content.
#[derive(Clone, Default)]
pub struct MemoryStore {
    state: Arc<Mutex<State>>,
    is_shared: bool,
}

#[derive(Default)]
struct State {
    streams: BTreeMap<StreamName, Vec<Record>>,
    blobs: BTreeMap<BlobId, Arc<Vec<u8>>>,
    spools: BTreeMap<StreamName, Vec<Vec<u8>>>,
    snapshots: BTreeMap<(StreamName, StreamName), Snapshot>,
}

impl MemoryStore {
    /// Returns an empty store.
    pub fn new() -> Self {
        Self::default()
    }

    /// Returns an empty store that says that other programs record in it too, as a database does.
    pub fn shared() -> Self {
        let (state, is_shared) = (Arc::default(), true);
        Self { state, is_shared }
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        // Nothing below panics half-way through a change, so that the content is whole either way.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl State {
    fn head(&self, stream: &StreamName) -> Head {
        self.streams
            .get(stream)
            .and_then(|records| records.last())
            .map_or(Head::EMPTY, Record::head_after)
    }
}

/// Returns the items of `all` from number `from` on, at most `limit`, stopping early by bytes.
fn slice<T>(
    all: &[T],
    from: u64,
    limit: usize,
    bytes: impl Fn(&T) -> usize,
) -> impl Iterator<Item = (u64, &T)> {
    let start = usize::try_from(from).unwrap_or(usize::MAX).min(all.len());
    let mut taken_bytes = 0;
    (start as u64..)
        .zip(&all[start..])
        .take(limit)
        .enumerate()
        .map_while(move |(index, (number, item))| {
            taken_bytes += bytes(item);
            (index == 0 || taken_bytes <= READ_BYTES_MAX).then_some((number, item))
        })
}

impl Store for MemoryStore {
    fn is_shared(&self) -> bool {
        self.is_shared
    }

    fn append(
        &self,
        stream: &StreamName,
        expected: &Head,
        bodies: &[Vec<u8>],
    ) -> Result<Head, AppendError> {
        limits::check_append(bodies)?;
        let mut state = self.lock();
        let mut head = state.head(stream);
        if head != *expected {
            return Err(AppendError::Conflict {
                stream: stream.clone(),
                head,
            });
        }
        if bodies.is_empty() {
            return Ok(head);
        }
        let records = state.streams.entry(stream.clone()).or_default();
        for body in bodies {
            let record = chain::seal(stream, &head, body.clone());
            head = record.head_after();
            records.push(record);
        }
        Ok(head)
    }

    fn head(&self, stream: &StreamName) -> Result<Head, StoreFault> {
        Ok(self.lock().head(stream))
    }

    fn read(
        &self,
        stream: &StreamName,
        from_seq: u64,
        limit: usize,
    ) -> Result<Vec<Record>, StoreFault> {
        let state = self.lock();
        let records = state.streams.get(stream).map_or(&[][..], Vec::as_slice);
        Ok(slice(records, from_seq, limit, |record| record.body.len())
            .map(|(_, record)| record.clone())
            .collect())
    }

    fn streams(
        &self,
        prefix: &str,
        after: Option<&StreamName>,
        limit: usize,
    ) -> Result<Vec<(StreamName, Head)>, StoreFault> {
        let state = self.lock();
        let start = match after {
            Some(after) if after.as_str() >= prefix => Bound::Excluded(after.as_str()),
            _ => Bound::Included(prefix),
        };
        let names = state
            .streams
            .range::<str, _>((start, Bound::Unbounded))
            .map(|(name, _)| name);
        let matching = names
            .take_while(|name| name.as_str().starts_with(prefix))
            .take(limit);
        Ok(matching
            .map(|name| (name.clone(), state.head(name)))
            .collect())
    }

    fn begin_blob(&self) -> Result<Box<dyn BlobWriter>, BlobError> {
        Ok(Box::new(MemoryBlob {
            store: self.clone(),
            content: Vec::new(),
        }))
    }

    fn open_blob(&self, id: &BlobId) -> Result<BlobReader, BlobError> {
        let content = self
            .lock()
            .blobs
            .get(id)
            .cloned()
            .ok_or(BlobError::Missing { id: *id })?;
        let len = content.len() as u64;
        Ok(BlobReader::new(
            *id,
            format!("memory, blob {id}"),
            len,
            Box::new(Cursor::new(Shared(content))),
        ))
    }

    fn blobs(
        &self,
        after: Option<&BlobId>,
        limit: usize,
    ) -> Result<Vec<(BlobId, u64)>, StoreFault> {
        let start = after.map_or(Bound::Unbounded, Bound::Excluded);
        let state = self.lock();
        let found = state.blobs.range((start, Bound::Unbounded)).take(limit);
        Ok(found
            .map(|(id, content)| (*id, content.len() as u64))
            .collect())
    }

    fn remove_blob(&self, id: &BlobId) -> Result<(), StoreFault> {
        self.lock().blobs.remove(id);
        Ok(())
    }

    fn spool_append(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunk: &[u8],
    ) -> Result<u64, SpoolError> {
        limits::check_chunk(chunk)?;
        let mut state = self.lock();
        let next = state
            .spools
            .get(spool)
            .map_or(0, |chunks| chunks.len() as u64);
        if next != expected_next {
            return Err(SpoolError::Conflict {
                spool: spool.clone(),
                next,
            });
        }
        state
            .spools
            .entry(spool.clone())
            .or_default()
            .push(chunk.to_vec());
        Ok(next + 1)
    }

    fn spool_len(&self, spool: &StreamName) -> Result<u64, StoreFault> {
        Ok(self
            .lock()
            .spools
            .get(spool)
            .map_or(0, |chunks| chunks.len() as u64))
    }

    fn spool_read(
        &self,
        spool: &StreamName,
        from: u64,
        limit: usize,
    ) -> Result<Vec<(u64, Vec<u8>)>, StoreFault> {
        let state = self.lock();
        let chunks = state.spools.get(spool).map_or(&[][..], Vec::as_slice);
        Ok(slice(chunks, from, limit, Vec::len)
            .map(|(number, chunk)| (number, chunk.clone()))
            .collect())
    }

    fn spool_drop(&self, spool: &StreamName) -> Result<(), StoreFault> {
        self.lock().spools.remove(spool);
        Ok(())
    }

    fn spools(&self) -> Result<Vec<(StreamName, u64)>, StoreFault> {
        Ok(self
            .lock()
            .spools
            .iter()
            .map(|(name, chunks)| (name.clone(), chunks.len() as u64))
            .collect())
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
        let snapshot = Snapshot {
            at: *at,
            bytes: bytes.to_vec(),
        };
        self.lock()
            .snapshots
            .insert((stream.clone(), name.clone()), snapshot);
        Ok(true)
    }

    fn snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
    ) -> Result<Option<Snapshot>, StoreFault> {
        let state = self.lock();
        let Some(snapshot) = state.snapshots.get(&(stream.clone(), name.clone())) else {
            return Ok(None);
        };
        let records = state.streams.get(stream).map_or(&[][..], Vec::as_slice);
        let past = match snapshot.at.next_seq.checked_sub(1) {
            None => Some(Head::EMPTY),
            Some(last) => usize::try_from(last)
                .ok()
                .and_then(|last| records.get(last))
                .map(Record::head_after),
        };
        Ok((past == Some(snapshot.at)).then(|| snapshot.clone()))
    }

    fn verify(&self, progress: &mut dyn FnMut(VerifyProgress)) -> Result<VerifyReport, StoreFault> {
        let state = self.lock();
        let mut report = VerifyReport {
            stream_count: state.streams.len() as u64,
            ..VerifyReport::default()
        };
        for records in state.streams.values() {
            verify_stream(records, &mut report);
        }
        progress(VerifyProgress {
            stage: VerifyStage::Records,
            done: report.record_bytes,
            total: report.record_bytes,
        });
        for (id, content) in &state.blobs {
            report.blob_count += 1;
            report.blob_bytes += content.len() as u64;
            if BlobId::of(content) != *id {
                let what = "content does not hash to the blob's name".to_owned();
                report.note(Damage {
                    file: format!("memory, blob {id}"),
                    what,
                    ..Damage::default()
                });
            }
        }
        report.spool_count = state.spools.len() as u64;
        report.chunk_count = state
            .spools
            .values()
            .map(|chunks| chunks.len() as u64)
            .sum();
        progress(VerifyProgress {
            stage: VerifyStage::Blobs,
            done: report.blob_bytes,
            total: report.blob_bytes,
        });
        Ok(report)
    }
}

fn verify_stream(records: &[Record], report: &mut VerifyReport) {
    let mut head = Head::EMPTY;
    for record in records {
        match chain::check(&head, record) {
            Ok(after) => head = after,
            Err(error) => {
                let (stream, seq) = (Some(record.stream.clone()), Some(record.seq));
                report.note(Damage {
                    file: "memory".to_owned(),
                    stream,
                    seq,
                    what: error.to_string(),
                    ..Damage::default()
                });
                return;
            }
        }
        report.record_count += 1;
        report.record_bytes += record.body.len() as u64;
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::conformance::Fixture;

    struct InMemory(MemoryStore);

    impl Fixture for InMemory {
        fn store(&self) -> Arc<dyn Store> {
            Arc::new(self.0.clone())
        }
        fn reopen(&mut self) {}
    }

    crate::conformance_tests!(|| InMemory(MemoryStore::new()));

    /// If this fails, damage to records or blobs in memory would not be found, so that verify proves nothing.
    #[test]
    fn verify_finds_what_is_changed_underneath() {
        let store = MemoryStore::new();
        let name: StreamName = "jobs/j-1".parse().expect("a good name");
        store
            .append(&name, &Head::EMPTY, &[b"one".to_vec(), b"two".to_vec()])
            .expect("appends");
        let id = store.put_blob(b"raw").expect("puts");
        assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
        store.lock().streams.get_mut(&name).expect("there")[1].body[0] ^= 1;
        let found = store.verify(&mut |_| ()).expect("looks").first_damage;
        assert_eq!(found.expect("found").seq, Some(1));

        store.lock().streams.get_mut(&name).expect("there")[1].body[0] ^= 1;
        store.lock().blobs.insert(id, Arc::new(b"rAw".to_vec()));
        assert!(!store.verify(&mut |_| ()).expect("looks").is_sound());
        assert!(matches!(
            store.read_blob(&id, 100),
            Err(BlobError::Fault(StoreFault::Damaged(_)))
        ));
    }
}
