//! An acknowledgement never precedes the sync of what it reports.

use std::sync::Arc;

use baytrim_ledger::Store;
use baytrim_ledger_local::LocalStore;

use crate::disk_model::Disk;
use crate::history::{Outcome, Write, apply, history};
use crate::recording::{Call, RecordingFiles};
use crate::support::{quick_dir, small};

/// If this fails, the store says 'done' about records, chunks or blobs that a power cut would take away.
#[test]
fn every_acknowledgement_follows_the_sync_of_its_bytes() {
    let dir = quick_dir();
    let files = RecordingFiles::default();
    let writes = history(1, 60);
    let (store, _) =
        LocalStore::open_on(Arc::new(files.clone()), dir.path(), &small()).expect("opens");
    for (number, write) in writes.iter().enumerate() {
        assert!(matches!(apply(&store, write), Outcome::Done));
        files.acknowledge(number);
    }
    drop(store);

    let mut disk = Disk::new(dir.path());
    let mut seen = 0;
    for call in files.calls() {
        disk.apply(&call, usize::MAX);
        let Call::Acknowledged(number) = call else {
            continue;
        };
        let contents: Vec<&[u8]> = match &writes[number] {
            Write::Append { bodies, .. } => bodies.iter().map(Vec::as_slice).collect(),
            Write::Chunk { bytes, .. } => vec![bytes],
            Write::Blob { content } => vec![content],
            Write::Drop { .. } => Vec::new(),
        };
        for content in contents {
            assert!(
                disk.holds_durably(content),
                "write {number} was acknowledged before its bytes were synced"
            );
            seen += 1;
        }
    }
    assert!(seen > 60, "only {seen} contents were looked at");
}

/// If this fails, many writers pay one sync each instead of sharing, and the store slows down with every bay.
#[test]
fn many_appends_share_one_sync() {
    let dir = quick_dir();
    let files = RecordingFiles::default();
    let (store, _) = LocalStore::open_on(
        Arc::new(files.clone()),
        dir.path(),
        &crate::support::roomy(),
    )
    .expect("opens");
    let before = files.calls().len();
    std::thread::scope(|scope| {
        for writer in 0..32 {
            let store: &dyn Store = &store;
            scope.spawn(move || {
                let stream = crate::support::name(&format!("s/{writer}"));
                let mut head = baytrim_ledger::Head::EMPTY;
                for _ in 0..50 {
                    head = store
                        .append(&stream, &head, &[b"x".to_vec()])
                        .expect("appends");
                }
            });
        }
    });
    let syncs = files.calls()[before..]
        .iter()
        .filter(|call| matches!(call, Call::SyncData(_)))
        .count();
    assert!(
        syncs < 1600,
        "{syncs} syncs for 1600 appends; unshared they would be 3200"
    );
}

/// If this fails, frames that a failed sync left in memory only are taken for durable after a restart.
#[test]
fn frames_after_the_anchor_are_written_again_before_they_count() {
    let dir = quick_dir();
    let (store, _) = LocalStore::open(dir.path(), &crate::support::roomy()).expect("opens");
    let stream = crate::support::name("jobs/j-1");
    let head = store
        .append(&stream, &baytrim_ledger::Head::EMPTY, &[b"one".to_vec()])
        .expect("appends");
    let anchor = std::fs::read(dir.path().join("anchor")).expect("reads");
    store
        .append(&stream, &head, &[b"two".to_vec()])
        .expect("appends");
    drop(store);
    // As if the process had ended between the journal's write and the anchor's.
    std::fs::write(dir.path().join("anchor"), anchor).expect("writes");
    std::fs::remove_dir_all(dir.path().join("index")).expect("removes");

    let files = RecordingFiles::default();
    let (store, report) = LocalStore::open_on(
        Arc::new(files.clone()),
        dir.path(),
        &crate::support::roomy(),
    )
    .expect("opens");
    assert_eq!(report.unacknowledged_frame_count, 1);
    assert_eq!(store.read(&stream, 0, 9).expect("reads").len(), 2);
    let calls = files.calls();
    let is_segment = |path: &std::path::Path| path.ends_with("journal/0000000001.seg");
    let place = |found: &dyn Fn(&Call) -> bool| calls.iter().position(found).expect("done");
    let written = place(
        &|call| matches!(call, Call::Write { path, bytes, .. } if is_segment(path) && bytes.windows(3).any(|part| part == b"two")),
    );
    let synced = calls
        .iter()
        .rposition(|call| matches!(call, Call::SyncData(path) if is_segment(path)))
        .expect("done");
    let anchored =
        place(&|call| matches!(call, Call::Write { path, .. } if path.ends_with("anchor")));
    assert!(written < synced && synced < anchored, "{calls:?}");
}

/// If this fails, every batch of a bay that sends many at once pays a sync of its own, and a slow disk stops the bay.
#[test]
fn chunks_appended_together_share_one_sync() {
    let dir = quick_dir();
    let files = RecordingFiles::default();
    let options = crate::support::roomy();
    let (store, _) =
        LocalStore::open_on(Arc::new(files.clone()), dir.path(), &options).expect("opens");
    let before = files.calls().len();
    let spool = crate::support::name("live/p-1");
    let chunks = vec![b"chunk".to_vec(); 100];
    assert_eq!(
        store.spool_append_all(&spool, 0, &chunks).expect("appends"),
        100
    );
    let calls = files.calls();
    let synced: Vec<_> = calls[before..]
        .iter()
        .filter(|call| matches!(call, Call::SyncData(_)))
        .collect();
    assert_eq!(synced.len(), 2, "the spool and the anchor: {synced:?}");
}
