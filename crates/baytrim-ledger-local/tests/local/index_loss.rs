//! The index deleted, cut, flipped and zeroed: made anew from the journal, nothing missing.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use baytrim_ledger::Store;
use baytrim_ledger_local::{IndexReport, LocalStore};

use crate::history::{Outcome, Write, apply, check, history};
use crate::support::{Random, copy_dir, open, quick_dir, roomy, setting};

fn files_below(dir: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(dir).expect("lists") {
        let path = entry.expect("lists").path();
        if path.is_dir() {
            files_below(&path, found);
        } else {
            found.push(path);
        }
    }
    found.sort();
}

fn ledger(writes: &[Write]) -> tempfile::TempDir {
    let dir = quick_dir();
    let (store, _) = open(dir.path(), &roomy());
    for write in writes {
        assert!(matches!(apply(&*store, write), Outcome::Done));
    }
    drop(store);
    dir
}

/// If this fails, a damaged index costs records or keeps the shop from opening.
#[test]
fn a_damaged_index_costs_nothing() {
    let writes = history(9, 120);
    let original = ledger(&writes);
    let mut rebuilt = 0;
    let trials = 150 * setting("BAYTRIM_HARM_TIMES", 1);
    for trial in 0..trials {
        let copy = quick_dir();
        copy_dir(original.path(), copy.path());
        let mut random = Random::new(trial + 1);
        let mut files = Vec::new();
        files_below(&copy.path().join("index"), &mut files);
        let file = &files[random.below(files.len())];
        let mut bytes = fs::read(file).expect("reads");
        // The database file is mostly empty: aim at its used front.
        let used = bytes
            .iter()
            .rposition(|byte| *byte != 0)
            .map_or(1, |last| last + 1);
        let at = random.below(used);
        match trial % 5 {
            0 => bytes[at] ^= 1 << random.below(8),
            1 => bytes.truncate(at),
            2 => bytes[at..used]
                .iter_mut()
                .take(64)
                .for_each(|byte| *byte = 0),
            3 => bytes[at..used]
                .iter_mut()
                .take(64)
                .for_each(|byte| *byte = 0xff),
            _ => bytes.clear(),
        }
        fs::write(file, bytes).expect("writes");
        if trial % 10 == 9 {
            fs::remove_file(file).expect("removes");
        }
        let (store, report) = open(copy.path(), &roomy());
        rebuilt += usize::from(matches!(report.index, IndexReport::Rebuilt { .. }));
        for (stream, head) in store.streams("", None, 99).expect("lists") {
            assert_eq!(
                store.read(&stream, 0, 9999).expect("reads").len() as u64,
                head.next_seq,
                "trial {trial}"
            );
        }
        drop(store);
        // A wrong answer while running is noted, and the next opening makes the index anew.
        let (store, _) = open(copy.path(), &roomy());
        check(&*store, &writes, writes.len());
    }
    assert!(
        rebuilt > 30,
        "the index was made anew {rebuilt} times: the harm does not reach it"
    );
}

/// If this fails, an index that is not there is not made anew, or an old one hides later records.
#[test]
fn a_missing_or_old_index_is_brought_up_to_date() {
    let writes = history(10, 80);
    let dir = ledger(&writes[..40]);
    let old = quick_dir();
    copy_dir(&dir.path().join("index"), old.path());
    let (store, report) = open(dir.path(), &roomy());
    assert_eq!(report.index, IndexReport::Sound);
    for write in &writes[40..] {
        assert!(matches!(apply(&*store, write), Outcome::Done));
    }
    drop(store);

    fs::remove_dir_all(dir.path().join("index")).expect("removes");
    copy_dir(old.path(), &dir.path().join("index"));
    let (store, report) = open(dir.path(), &roomy());
    assert!(
        matches!(report.index, IndexReport::CaughtUp { frame_count: 1.. }),
        "{report:?}"
    );
    check(&*store, &writes, writes.len());
    drop(store);

    fs::remove_dir_all(dir.path().join("index")).expect("removes");
    let (store, report) = open(dir.path(), &roomy());
    assert!(
        matches!(report.index, IndexReport::Rebuilt { .. }),
        "{report:?}"
    );
    check(&*store, &writes, writes.len());
    drop(store);

    // The index of another ledger is not believed.
    let other = ledger(&history(11, 40));
    fs::remove_dir_all(dir.path().join("index")).expect("removes");
    copy_dir(&other.path().join("index"), &dir.path().join("index"));
    let (store, report) = open(dir.path(), &roomy());
    assert!(
        matches!(report.index, IndexReport::Rebuilt { .. }),
        "{report:?}"
    );
    check(&*store, &writes, writes.len());
}

/// If this fails, an index whose entries vanish while the store runs makes records unreadable.
#[test]
fn an_index_that_forgets_entries_is_replaced_by_the_journal() {
    let writes = history(12, 60);
    let dir = ledger(&writes);
    {
        let database = index_of(dir.path());
        let keys: Vec<_> = database
            .scan_prefix(b"r")
            .keys()
            .map(|key| key.expect("reads"))
            .collect();
        for key in keys.iter().step_by(3) {
            database.remove(key).expect("removes");
        }
        // An entry that points somewhere else.
        database
            .insert(
                &keys[1],
                database.get(&keys[4]).expect("reads").expect("there"),
            )
            .expect("inserts");
    }
    let (store, _) = open(dir.path(), &roomy());
    let report = store.verify(&mut |_| ()).expect("looks");
    assert!(report.first_damage.expect("found").file.ends_with("index"));
    for (stream, head) in store.streams("", None, 99).expect("lists") {
        assert_eq!(
            store.read(&stream, 0, 9999).expect("reads").len() as u64,
            head.next_seq
        );
    }
    check(&*store, &writes, writes.len());
    drop(store);
    let (store, report) = LocalStore::open(dir.path(), &roomy()).expect("opens");
    assert!(
        matches!(report.index, IndexReport::Rebuilt { .. }),
        "{report:?}"
    );
    assert!(store.verify(&mut |_| ()).expect("looks").index_entry_count > 20);
}

/// Opens the database of an index by hand. A program that another test is just starting holds its lock for a moment.
fn index_of(folder: &Path) -> sled::Db {
    let mut tries = 0..50;
    loop {
        match sled::open(folder.join("index")) {
            Err(sled::Error::Io(error))
                if error.to_string().contains("acquire lock") && tries.next().is_some() =>
            {
                std::thread::sleep(Duration::from_millis(20));
            }
            opened => return opened.expect("opens"),
        }
    }
}

/// If this fails, a head that the index forgot or remembers wrongly makes records vanish, or lets a stale writer win.
#[test]
fn a_lost_or_old_head_in_the_index_is_noticed_when_opening() {
    let writes = history(13, 60);
    let dir = ledger(&writes);
    for is_removed in [true, false] {
        {
            let database = index_of(dir.path());
            let heads: Vec<_> = database
                .scan_prefix(b"h")
                .map(|entry| entry.expect("reads"))
                .collect();
            if is_removed {
                database.remove(&heads[0].0).expect("removes");
            } else {
                database.insert(&heads[0].0, &heads[1].1).expect("inserts");
            }
        }
        let (store, report) = open(dir.path(), &roomy());
        assert!(
            matches!(report.index, IndexReport::Rebuilt { .. }),
            "{report:?}"
        );
        check(&*store, &writes, writes.len());
    }
}
