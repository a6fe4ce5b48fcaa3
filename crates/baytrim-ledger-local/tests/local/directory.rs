//! The directory: one store at a time, known formats only, space given back.

use std::fs;

use baytrim_ledger_local::{LocalStore, OpenError, Options};

use crate::support::{name, open, quick_dir, small};

/// If this fails, two daemons write one journal and break it.
#[test]
fn a_second_store_on_one_directory_is_refused() {
    let dir = quick_dir();
    let (first, _) = open(dir.path(), &small());
    let refused = LocalStore::open(dir.path(), &small())
        .err()
        .expect("refused");
    assert!(matches!(refused, OpenError::Locked { .. }), "{refused}");
    drop(first);
    open(dir.path(), &small());
}

/// If this fails, a directory of a later version, or one that is no ledger, is written into.
#[test]
fn unknown_and_foreign_directories_are_refused() {
    let dir = quick_dir();
    drop(open(dir.path(), &small()));
    fs::write(dir.path().join("FORMAT"), "baytrim ledger 2\n").expect("writes");
    let refused = LocalStore::open(dir.path(), &small())
        .err()
        .expect("refused");
    assert!(
        matches!(refused, OpenError::UnknownFormat { .. }),
        "{refused}"
    );

    let foreign = quick_dir();
    fs::write(foreign.path().join("letter.txt"), "dear customer").expect("writes");
    let refused = LocalStore::open(foreign.path(), &small())
        .err()
        .expect("refused");
    assert!(matches!(refused, OpenError::NotALedger { .. }), "{refused}");

    let headless = quick_dir();
    let (store, _) = open(headless.path(), &small());
    store
        .append(&name("a"), &baytrim_ledger::Head::EMPTY, &[b"x".to_vec()])
        .expect("appends");
    drop(store);
    fs::remove_file(headless.path().join("FORMAT")).expect("removes");
    let refused = LocalStore::open(headless.path(), &small())
        .err()
        .expect("refused");
    assert!(matches!(refused, OpenError::NotALedger { .. }), "{refused}");
}

fn spool_bytes(dir: &std::path::Path) -> u64 {
    let entries = fs::read_dir(dir.join("spool")).expect("lists");
    entries
        .map(|entry| entry.expect("lists").metadata().expect("there").len())
        .sum()
}

/// If this fails, finished pulls fill the disk.
#[test]
fn the_space_of_dropped_spools_is_given_back() {
    let dir = quick_dir();
    let options = Options {
        spool_segment_bytes: 10_000,
        ..small()
    };
    let (store, _) = open(dir.path(), &options);
    for pull in 0..40 {
        let spool = name(&format!("pulls/{pull}"));
        for number in 0..20 {
            store
                .spool_append(&spool, number, &[1; 1000])
                .expect("appends");
        }
        store.spool_drop(&spool).expect("drops");
    }
    let bytes = spool_bytes(dir.path());
    assert!(
        bytes < 50_000,
        "{bytes} bytes for nothing, after 800 kB of dropped chunks"
    );
    drop(store);
    let (store, _) = open(dir.path(), &options);
    assert!(store.spools().expect("lists").is_empty());
    assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
}

/// If this fails, one pull that is never finished keeps the space of all later ones, or is lost when moved.
#[test]
fn a_stuck_spool_does_not_keep_the_space_of_others() {
    let dir = quick_dir();
    let options = Options {
        spool_segment_bytes: 10_000,
        ..small()
    };
    let stuck = name("pulls/stuck");
    {
        let (store, _) = open(dir.path(), &options);
        for number in 0..3 {
            store
                .spool_append(&stuck, number, &[u8::try_from(number).expect("small"); 500])
                .expect("appends");
        }
        for pull in 0..40 {
            let spool = name(&format!("pulls/{pull}"));
            for number in 0..20 {
                store
                    .spool_append(&spool, number, &[1; 1000])
                    .expect("appends");
            }
            if pull == 20 {
                store.spool_append(&stuck, 3, &[3; 500]).expect("appends");
            }
            store.spool_drop(&spool).expect("drops");
        }
    }
    let bytes = spool_bytes(dir.path());
    assert!(bytes < 120_000, "{bytes} bytes for 2 kB of live chunks");
    let (store, _) = open(dir.path(), &options);
    let chunks = store.spool_read(&stuck, 0, 99).expect("reads");
    let expected: Vec<_> = (0..4_u8)
        .map(|number| (u64::from(number), vec![number; 500]))
        .collect();
    assert_eq!(chunks, expected);
    assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
}

/// If this fails, half-written logs pile up after crashes.
#[test]
fn leftovers_of_unfinished_blobs_are_removed_when_opening() {
    let dir = quick_dir();
    drop(open(dir.path(), &small()));
    fs::write(dir.path().join("tmp/blob-7"), b"half").expect("writes");
    let (_store, report) = open(dir.path(), &small());
    assert_eq!(report.temporary_file_count, 1);
    assert!(!dir.path().join("tmp/blob-7").exists());
}
