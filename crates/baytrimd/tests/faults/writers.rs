//! Writers that fight for the places of one stream, each through a store of its own.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Instant;

use baytrim_ledger::{AppendError, Head, Store as _, StreamName};
use baytrim_ledger_postgres::{Address, Options, PostgresStore};

use crate::anywhere::Shop;

pub(crate) fn open(url: &str) -> PostgresStore {
    let address = Address::parse(url).unwrap();
    PostgresStore::open(&address, &Options::default())
        .unwrap()
        .0
}

fn shared() -> StreamName {
    "probe/shared".parse().unwrap()
}

/// Starts writers that compare and append until told to stop.
pub(crate) fn start(
    url: &str,
    count: usize,
    shop: &Arc<Shop>,
    stop: &Arc<AtomicBool>,
) -> Vec<JoinHandle<()>> {
    let writers = (0..count).map(|writer| {
        let (shop, stop, store) = (Arc::clone(shop), Arc::clone(stop), open(url));
        std::thread::spawn(move || write(&store, writer, &shop, &stop))
    });
    writers.collect()
}

#[expect(clippy::disallowed_methods, reason = "the longest stall is measured")]
fn write(store: &PostgresStore, writer: usize, shop: &Shop, stop: &AtomicBool) {
    let stream = shared();
    let (mut head, mut number, mut began) = (Head::EMPTY, 0_u64, Instant::now());
    while !stop.load(Ordering::Relaxed) {
        number += 1;
        let body = format!("{writer}: {number}").into_bytes();
        match store.append(&stream, &head, std::slice::from_ref(&body)) {
            Ok(after) => {
                shop.note(|history| {
                    history.won(head.next_seq, body);
                    history.took("compare and append", began.elapsed());
                });
                (head, began) = (after, Instant::now());
                // Slow enough that the disk is left to others, too.
                std::thread::sleep(std::time::Duration::from_millis(5));
            }
            Err(AppendError::Conflict { head: real, .. }) => head = real,
            // It may have landed: the next one is refused, and learns the head.
            Err(_) => shop.note(|history| history.figures.again += 1),
        }
    }
}

/// Returns all records of the shared stream.
pub(crate) fn all(store: &PostgresStore) -> Vec<Vec<u8>> {
    let mut there = Vec::new();
    loop {
        let part = store.read(&shared(), there.len() as u64, 1000).unwrap();
        if part.is_empty() {
            return there;
        }
        there.extend(part.into_iter().map(|record| record.body));
    }
}
