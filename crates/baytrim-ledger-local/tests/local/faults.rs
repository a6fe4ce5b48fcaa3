//! A full or failing disk at every change of a run.

use std::io::ErrorKind;
use std::sync::Arc;

use baytrim_ledger::{Store, StoreFault};
use baytrim_ledger_local::LocalStore;

use crate::history::{Outcome, Write, apply, check, history};
use crate::recording::{RecordingFiles, Refusal};
use crate::support::{open, quick_dir, small};

/// Runs the history with one change refused; returns whether that change came up at all.
fn run_refused(writes: &[Write], refusal: Refusal) -> bool {
    let dir = quick_dir();
    let files = RecordingFiles::default();
    files.refuse(refusal);
    let opened = LocalStore::open_on(Arc::new(files.clone()), dir.path(), &small());
    let mut done = 0;
    let mut tried = 0;
    if let Ok((store, _)) = opened {
        while tried < writes.len() {
            tried += 1;
            match apply(&store, &writes[tried - 1]) {
                Outcome::Done => done += 1,
                Outcome::Fault(fault) => {
                    check_refused(&store, &writes[tried - 1], &fault, refusal.kind);
                    break;
                }
            }
        }
    }
    let came_up = files.change_count() > refusal.at;
    let (store, report) = open(dir.path(), &small());
    assert!(report.losses.is_empty());
    check(&*store, &writes[..tried], done);
    came_up
}

/// The first fault says what the disk said; after it nothing is written, and everything is still read.
fn check_refused(store: &LocalStore, write: &Write, fault: &StoreFault, kind: ErrorKind) {
    match fault {
        StoreFault::Full { .. } => assert_eq!(kind, ErrorKind::StorageFull),
        StoreFault::Io { source, .. } => assert_eq!(source.kind(), kind),
        // The change was refused behind an acknowledgement, while giving space back.
        StoreFault::Poisoned { reason } => assert!(!reason.is_empty()),
        other => panic!("{other}"),
    }
    let is_half_blob =
        matches!(write, Write::Blob { .. }) && !matches!(fault, StoreFault::Poisoned { .. });
    match apply(
        store,
        &Write::Drop {
            spool: "pulls/none".to_owned(),
        },
    ) {
        Outcome::Fault(StoreFault::Poisoned { reason }) => assert!(!reason.is_empty()),
        // A blob that could not be written aside harms nobody else.
        Outcome::Done if is_half_blob => {}
        other => panic!("a write after {fault} was answered {other:?}"),
    }
    for (stream, head) in store.streams("", None, 99).expect("lists") {
        assert_eq!(
            store.read(&stream, 0, 9999).expect("reads").len() as u64,
            head.next_seq
        );
    }
    for (spool, len) in store.spools().expect("lists") {
        assert_eq!(
            store.spool_read(&spool, 0, 9999).expect("reads").len() as u64,
            len
        );
    }
}

/// If this fails, a full or failing disk at some moment loses what was acknowledged, or is written on.
#[test]
fn a_refused_change_anywhere_loses_nothing_and_stops_all_writes() {
    let writes = history(4, 24);
    let mut runs = 0;
    for (kind, written_percent) in [
        (ErrorKind::StorageFull, 50),
        (ErrorKind::ReadOnlyFilesystem, 0),
        (ErrorKind::Other, 0),
        (ErrorKind::Other, 100),
    ] {
        let mut at = 0;
        while run_refused(
            &writes,
            Refusal {
                at,
                kind,
                written_percent,
            },
        ) {
            at += 1;
            runs += 1;
        }
    }
    assert!(runs > 400, "only {runs} changes refused");
}
