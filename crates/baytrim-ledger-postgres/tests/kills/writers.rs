//! Writers as many daemons would be, and what they were told.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use baytrim_ledger::{AppendError, BlobId, Head, SpoolError, Store as _, StreamName};
use baytrim_ledger_postgres::{Address, Options, PostgresStore};

const WRITERS: usize = 4;

/// Threads that write, each through a store of its own.
pub(crate) struct Writers {
    stop: Arc<AtomicBool>,
    threads: Vec<JoinHandle<Told>>,
}

/// What one writer was told.
#[derive(Default)]
struct Told {
    /// Records that it won, by their place in the shared stream.
    won: BTreeMap<u64, Vec<u8>>,
    blobs: Vec<BlobId>,
    chunk_count: u64,
    fault_count: u64,
    longest: Duration,
}

fn open(url: &str) -> PostgresStore {
    let address = Address::parse(url).expect("a good address");
    PostgresStore::open(&address, &Options::default())
        .expect("opens")
        .0
}

fn shared() -> StreamName {
    "job/shared".parse().expect("a name")
}

fn spool_of(writer: usize) -> StreamName {
    format!("live/{writer}").parse().expect("a name")
}

impl Writers {
    pub(crate) fn start(url: &str) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let threads = (0..WRITERS).map(|writer| {
            let (stop, url) = (Arc::clone(&stop), url.to_owned());
            thread::spawn(move || write(&open(&url), writer, &stop))
        });
        Self {
            threads: threads.collect(),
            stop,
        }
    }

    /// Stops the writers and holds what they were told against what is there.
    pub(crate) fn stop(self, url: &str) -> String {
        self.stop.store(true, Ordering::Relaxed);
        let told = self
            .threads
            .into_iter()
            .map(|thread| thread.join().expect("no panic"));
        let told: Vec<Told> = told.collect();
        let store = open(url);
        let there = all(&store);
        let mut acknowledged = 0;
        for (writer, told) in told.iter().enumerate() {
            acknowledged += told.won.len();
            for (seq, body) in &told.won {
                let place = usize::try_from(*seq).expect("small");
                assert_eq!(
                    there.get(place),
                    Some(body),
                    "record {seq} of writer {writer}"
                );
            }
            for id in &told.blobs {
                store
                    .read_blob(id, u64::MAX)
                    .expect("an acknowledged blob is there");
            }
            let chunks = store.spool_len(&spool_of(writer)).expect("counts");
            assert!(
                chunks >= told.chunk_count,
                "{chunks} chunks of {}",
                told.chunk_count
            );
        }
        let mut once = there.clone();
        once.sort();
        once.dedup();
        assert_eq!(once.len(), there.len(), "a record is there twice");
        assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
        let sum = |of: fn(&Told) -> u64| told.iter().map(of).sum::<u64>();
        format!(
            "{acknowledged} records acknowledged, all there (of {}), {} chunks, {} blobs, {} calls given up, longest stall {:.1} s",
            there.len(),
            sum(|told| told.chunk_count),
            sum(|told| told.blobs.len() as u64),
            sum(|told| told.fault_count),
            told.iter()
                .map(|told| told.longest)
                .max()
                .unwrap_or_default()
                .as_secs_f64(),
        )
    }
}

fn all(store: &PostgresStore) -> Vec<Vec<u8>> {
    let mut there = Vec::new();
    loop {
        let part = store
            .read(&shared(), there.len() as u64, 1000)
            .expect("reads");
        if part.is_empty() {
            return there;
        }
        there.extend(part.into_iter().map(|record| record.body));
    }
}

/// Writes to the shared stream, a blob now and then, and a spool of its own, until told to stop.
#[expect(clippy::disallowed_methods, reason = "the longest stall is measured")]
fn write(store: &PostgresStore, writer: usize, stop: &AtomicBool) -> Told {
    let (stream, spool) = (shared(), spool_of(writer));
    let mut told = Told::default();
    let mut head = Head::EMPTY;
    let mut number = 0_u64;
    while !stop.load(Ordering::Relaxed) {
        let began = Instant::now();
        number += 1;
        let body = format!("{writer}: {number}").into_bytes();
        match store.append(&stream, &head, std::slice::from_ref(&body)) {
            Ok(after) => {
                told.won.insert(head.next_seq, body);
                head = after;
            }
            Err(AppendError::Conflict { head: real, .. }) => head = real,
            Err(_) => told.fault_count += 1,
        }
        match store.spool_append(&spool, told.chunk_count, &[7; 2000]) {
            Ok(next) | Err(SpoolError::Conflict { next, .. }) => told.chunk_count = next,
            Err(_) => told.fault_count += 1,
        }
        if number.is_multiple_of(20) {
            match store.put_blob(&[body_of(writer, number), vec![7; 1_500_000]].concat()) {
                Ok(id) => told.blobs.push(id),
                Err(_) => told.fault_count += 1,
            }
        }
        told.longest = told.longest.max(began.elapsed());
    }
    told
}

fn body_of(writer: usize, number: u64) -> Vec<u8> {
    format!("{writer}: {number}").into_bytes()
}
