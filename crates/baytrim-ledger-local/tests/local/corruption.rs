//! Changed bits, cut files and zeroed pages: never a silent effect.
//!
//! The long form: `BAYTRIM_HARM_TIMES=5 cargo test -p baytrim-ledger-local --test local corruption` does five times as many.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use baytrim_ledger::{Record, Store, StreamName};
use baytrim_ledger_local::{LocalStore, OpenCheck, OpenError, Options};
use tempfile::TempDir;

use crate::history::{Outcome, Write, apply, history};
use crate::support::{Random, copy_dir, name, open, quick_dir, setting, small};

pub(crate) type Records = BTreeMap<StreamName, Vec<Record>>;
pub(crate) type Chunks = BTreeMap<StreamName, Vec<(u64, Vec<u8>)>>;

pub(crate) fn everything(store: &dyn Store) -> Option<(Records, Chunks)> {
    let mut records = Records::new();
    for (stream, _) in store.streams("", None, 99).ok()? {
        records.insert(stream.clone(), store.read(&stream, 0, 9999).ok()?);
    }
    let mut chunks = Chunks::new();
    for (spool, _) in store.spools().ok()? {
        chunks.insert(spool.clone(), store.spool_read(&spool, 0, 9999).ok()?);
    }
    Some((records, chunks))
}

/// Makes a ledger of several segments, closed; returns it with what is in it.
fn ledger(seed: u64) -> (TempDir, Records, Chunks) {
    let dir = quick_dir();
    let (store, _) = open(dir.path(), &small());
    for write in history(seed, 70) {
        assert!(matches!(apply(&*store, &write), Outcome::Done));
    }
    let (records, chunks) = everything(&*store).expect("reads");
    drop(store);
    (dir, records, chunks)
}

/// What is read from a damaged ledger is right or an error, never wrong.
pub(crate) fn assert_nothing_wrong_is_read(store: &dyn Store, records: &Records) {
    for (stream, expected) in records {
        for record in expected {
            if let Ok(found) = store.read(stream, record.seq, 1) {
                assert_eq!(found.first(), Some(record), "a wrong record was handed out");
            }
        }
    }
}

/// Opens and verifies; returns whether something was found wrong.
fn is_detected(dir: &Path, options: &Options, records: &Records, chunks: &Chunks) -> bool {
    let store = match LocalStore::open(dir, options) {
        Err(error) => {
            assert!(!error.to_string().is_empty());
            return true;
        }
        Ok((store, _)) => store,
    };
    assert_nothing_wrong_is_read(&store, records);
    let report = store.verify(&mut |_| ()).expect("looks");
    if report.is_sound() {
        let found = everything(&store).expect("reads");
        assert_eq!(&found.0, records, "records differ and nobody says so");
        assert_eq!(&found.1, chunks, "chunks differ and nobody says so");
        return false;
    }
    let damage = report.first_damage.expect("named");
    assert!(
        !damage.file.is_empty() && !damage.what.is_empty() && !damage.advice.is_empty(),
        "{damage:?}"
    );
    true
}

fn segment_files(dir: &Path, log: &str) -> Vec<PathBuf> {
    let mut files: Vec<_> = fs::read_dir(dir.join(log))
        .expect("lists")
        .map(|entry| entry.expect("lists").path())
        .collect();
    files.sort();
    files
}

#[derive(Debug, Clone, Copy)]
enum Harm {
    Flip,
    Truncate,
    ZeroPage,
}

/// Harms one file of a log at a random place; tells whether that changed anything.
fn harm(dir: &Path, log: &str, harm: Harm, random: &mut Random) -> bool {
    let files = segment_files(dir, log);
    let file = &files[random.below(files.len())];
    let old = fs::read(file).expect("reads");
    let mut new = old.clone();
    let at = random.below(old.len());
    match harm {
        Harm::Flip => new[at] ^= 1 << random.below(8),
        Harm::Truncate => new.truncate(at),
        // A page of 128 bytes: the segments of the test are small.
        Harm::ZeroPage => new[at / 128 * 128..]
            .iter_mut()
            .take(128)
            .for_each(|byte| *byte = 0),
    }
    fs::write(file, &new).expect("writes");
    new != old
}

fn harm_many_times(log: &str, kind: Harm, trials: u64) {
    let trials = trials * setting("BAYTRIM_HARM_TIMES", 1);
    let (original, records, chunks) = ledger(5);
    assert!(
        segment_files(original.path(), "journal").len() > 3,
        "too few segments to be a test"
    );
    for trial in 0..trials {
        let copy = quick_dir();
        copy_dir(original.path(), copy.path());
        let mut random = Random::new(trial + 1);
        let is_changed = harm(copy.path(), log, kind, &mut random);
        let check = if trial % 2 == 0 {
            OpenCheck::SinceIndex
        } else {
            OpenCheck::Whole
        };
        if trial % 3 == 0 {
            fs::remove_dir_all(copy.path().join("index")).expect("removes");
        }
        let options = Options { check, ..small() };
        let is_found = is_detected(copy.path(), &options, &records, &chunks);
        assert_eq!(is_found, is_changed, "{kind:?} in {log}, trial {trial}");
    }
}

/// If this fails, a flipped bit in the journal goes unnoticed.
#[test]
fn a_flipped_bit_in_the_journal_is_found() {
    harm_many_times("journal", Harm::Flip, 400);
}

/// If this fails, a journal file cut short goes unnoticed.
#[test]
fn a_truncated_journal_is_found() {
    harm_many_times("journal", Harm::Truncate, 200);
}

/// If this fails, a zeroed page of the journal goes unnoticed.
#[test]
fn a_zeroed_page_of_the_journal_is_found() {
    harm_many_times("journal", Harm::ZeroPage, 200);
}

/// If this fails, damage to the chunks of a live pull goes unnoticed.
#[test]
fn damage_to_the_spool_is_found() {
    harm_many_times("spool", Harm::Flip, 100);
    harm_many_times("spool", Harm::Truncate, 60);
    harm_many_times("spool", Harm::ZeroPage, 60);
}

/// If this fails, damage to the anchor loses records, or both slots' damage goes unnoticed.
#[test]
fn damage_to_the_anchor_is_found_or_healed() {
    let (original, records, chunks) = ledger(6);
    for trial in 0..150 {
        let copy = quick_dir();
        copy_dir(original.path(), copy.path());
        let file = copy.path().join("anchor");
        let mut bytes = fs::read(&file).expect("reads");
        let mut random = Random::new(trial);
        let slot_bytes = 132;
        let slot = if random.below(2) == 0 { 0 } else { 4096 };
        bytes[slot + random.below(slot_bytes)] ^= 1 << random.below(8);
        fs::write(&file, &bytes).expect("writes");
        let (store, report) = open(copy.path(), &small());
        assert!(report.is_anchor_slot_lost, "trial {trial}: {report:?}");
        assert_eq!(
            everything(&*store).expect("reads"),
            (records.clone(), chunks.clone())
        );
        assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
    }
    fs::write(original.path().join("anchor"), [0; 8192]).expect("writes");
    let refused = LocalStore::open(original.path(), &small())
        .err()
        .expect("refused");
    assert!(matches!(refused, OpenError::AnchorLost { .. }), "{refused}");
}

/// If this fails, a record file moved, repeated or swapped by hand passes for the real one.
#[test]
fn swapped_removed_and_repeated_segments_are_found() {
    let (original, records, chunks) = ledger(7);
    let files = segment_files(original.path(), "journal");
    for at in 0..files.len() {
        let copy = quick_dir();
        copy_dir(original.path(), copy.path());
        fs::remove_file(&segment_files(copy.path(), "journal")[at]).expect("removes");
        assert!(
            is_detected(copy.path(), &small(), &records, &chunks),
            "segment {at} removed"
        );

        let copy = quick_dir();
        copy_dir(original.path(), copy.path());
        let names = segment_files(copy.path(), "journal");
        fs::copy(&names[(at + 1) % names.len()], &names[at]).expect("copies");
        assert!(
            is_detected(copy.path(), &small(), &records, &chunks),
            "segment {at} replaced by the next"
        );
    }
}

/// If this fails, a changed blob is handed out as the log that was submitted.
#[test]
fn a_changed_blob_is_found() {
    let dir = quick_dir();
    let (store, _) = open(dir.path(), &small());
    let id = store.put_blob(b"time,rpm\n0,1000\n").expect("puts");
    let hex = id.to_string();
    let file = dir.path().join("blobs").join(&hex[..2]).join(&hex);
    let content = fs::read(&file).expect("where the format page says");
    for changed in [&b"time,rpm\n0,9000\n"[..], b"time,rpm\n", b""] {
        fs::write(&file, changed).expect("writes");
        store.read_blob(&id, 100).expect_err("changed content");
        let report = store.verify(&mut |_| ()).expect("looks");
        assert!(report.first_damage.expect("found").file.ends_with(&hex));
    }
    // Submitting it again heals it.
    store.put_blob(&content).expect("puts");
    assert_eq!(store.read_blob(&id, 100).expect("reads"), content);
}

/// If this fails, nobody learns how much is missing when a journal lost its end, or the loss cannot be accepted.
#[test]
fn a_lost_tail_is_counted_and_can_be_accepted() {
    let dir = quick_dir();
    let stream = name("jobs/j-1");
    let options = Options {
        index_cache_bytes: 1 << 20,
        ..Options::default()
    };
    let (store, _) = open(dir.path(), &options);
    let mut ends = Vec::new();
    let file = dir.path().join("journal/0000000001.seg");
    let mut head = baytrim_ledger::Head::EMPTY;
    for number in 0..10_u8 {
        head = store
            .append(&stream, &head, &[vec![number]])
            .expect("appends");
        ends.push(fs::metadata(&file).expect("there").len());
    }
    store
        .spool_append(&name("pulls/p"), 0, b"kept")
        .expect("appends");
    drop(store);
    fs::File::options()
        .write(true)
        .open(&file)
        .expect("opens")
        .set_len(ends[6])
        .expect("cuts");
    match LocalStore::open(dir.path(), &options)
        .err()
        .expect("refused")
    {
        OpenError::LostTail {
            missing_frame_count,
            offset,
            ..
        } => assert_eq!((missing_frame_count, offset), (3, ends[6])),
        other => panic!("{other}"),
    }
    let (store, report) = open(
        dir.path(),
        &Options {
            accept_loss: true,
            ..options.clone()
        },
    );
    assert_eq!(report.losses.len(), 1, "{report:?}");
    assert_eq!(store.read(&stream, 0, 99).expect("reads").len(), 7);
    assert_eq!(store.spool_len(&name("pulls/p")).expect("reads"), 1);
    assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
    drop(store);
    let (_, report) = open(dir.path(), &options);
    assert!(
        report.losses.is_empty(),
        "accepted once, sound afterwards: {report:?}"
    );
}

/// If this fails, an owner without a backup cannot get at the sound part of a damaged ledger.
#[test]
fn accepted_damage_keeps_the_sound_part_and_moves_the_rest_aside() {
    let (original, records, _) = ledger(8);
    for trial in 0..60 {
        let copy = quick_dir();
        copy_dir(original.path(), copy.path());
        let log = if trial % 2 == 0 { "journal" } else { "spool" };
        let kind = [Harm::Flip, Harm::Truncate, Harm::ZeroPage][trial % 3];
        harm(copy.path(), log, kind, &mut Random::new(trial as u64 + 77));
        let options = Options {
            accept_loss: true,
            check: OpenCheck::Whole,
            ..small()
        };
        let (store, _) = open(copy.path(), &options);
        let (found, _) = everything(&*store).expect("reads");
        for (stream, kept) in found {
            assert_eq!(kept, records[&stream][..kept.len()], "trial {trial}");
        }
        assert!(
            store.verify(&mut |_| ()).expect("looks").is_sound(),
            "trial {trial}"
        );
        let more = Write::Append {
            stream: "jobs/after".to_owned(),
            bodies: vec![b"goes on".to_vec()],
        };
        assert!(matches!(apply(&*store, &more), Outcome::Done));
        drop(store);
        let (_, report) = open(copy.path(), &small());
        assert!(report.losses.is_empty());
    }
}
