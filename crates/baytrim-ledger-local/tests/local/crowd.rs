//! Many spools at once, whose chunks wait for each other.

use std::sync::{Arc, Barrier};
use std::thread;
use std::time::Duration;

use baytrim_ledger::Head;

use crate::support::{name, open, roomy};

const SPOOLS: usize = 24;
const CHUNKS: u64 = 12;

/// If this fails, a bay in a crowd waits for ever, or is told that a chunk is durable which is not there.
#[test]
fn a_crowd_is_answered_and_kept() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut options = roomy();
    // It stands still: all chunks come in one moment, so that every group waits.
    options.clock = Some(|| Duration::ZERO);
    let (store, _) = open(dir.path(), &options);
    let together = Arc::new(Barrier::new(SPOOLS + 1));
    let bays = (0..SPOOLS).map(|bay| {
        let (store, together) = (Arc::clone(&store), Arc::clone(&together));
        thread::spawn(move || {
            let spool = name(&format!("live/bay-{bay}"));
            together.wait();
            for chunk in 0..CHUNKS {
                let bytes = format!("{bay} {chunk}");
                let next = store.spool_append(&spool, chunk, bytes.as_bytes());
                assert_eq!(next.expect("appends"), chunk + 1);
            }
        })
    });
    let bays: Vec<_> = bays.collect();
    together.wait();
    let mut head = Head::EMPTY;
    for record in 0..CHUNKS {
        let body = format!("record {record}").into_bytes();
        let appended = store.append(&name("job/one"), &head, &[body]);
        head = appended.expect("appends");
    }
    for bay in bays {
        bay.join().expect("no panic");
    }
    drop(store);
    let (store, _) = open(dir.path(), &options);
    for bay in 0..SPOOLS {
        let spool = name(&format!("live/bay-{bay}"));
        let kept = store.spool_read(&spool, 0, 100).expect("reads");
        let wanted = (0..CHUNKS).map(|chunk| (chunk, format!("{bay} {chunk}").into_bytes()));
        assert!(kept.into_iter().eq(wanted), "spool {bay}");
    }
    assert_eq!(store.head(&name("job/one")).expect("reads"), head);
}
