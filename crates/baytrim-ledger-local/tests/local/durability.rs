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
        "{syncs} syncs for 1600 appends: no better than two each shared by none"
    );
}
