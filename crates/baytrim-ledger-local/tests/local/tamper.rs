//! Frames dropped, swapped, repeated, cut off and changed by somebody who knows the format: each is found, whether
//! they leave check sums, chain of frames and anchor as they were or make them good.
//!
//! What no store can find by itself is a ledger whose last records are missing and whose form was made good: that
//! needs a head or a signed checkpoint that was kept elsewhere.

use std::fs;
use std::path::Path;

use baytrim_ledger::Store;
use baytrim_ledger_local::{LocalStore, OpenCheck, Options};
use tempfile::TempDir;

use crate::corruption::{Records, assert_nothing_wrong_is_read, everything};
use crate::forger::{Frame, Skill, forge, frames, stream_of};
use crate::history::{Outcome, Write, apply};
use crate::support::{copy_dir, open, quick_dir, roomy};

const SKILLS: [Skill; 3] = [Skill::Cuts, Skill::Anchors, Skill::Chains];

/// Makes a ledger of one segment: three streams, one of them of several records an append.
fn ledger() -> (TempDir, Records) {
    let dir = quick_dir();
    let (store, _) = open(dir.path(), &roomy());
    for number in 0..9 {
        let bodies = (0..=number % 2).map(|part| format!("<{number}.{part}>").into_bytes());
        let write = Write::Append {
            stream: format!("jobs/{}", number % 3),
            bodies: bodies.collect(),
        };
        assert!(matches!(apply(&*store, &write), Outcome::Done));
    }
    let (records, _) = everything(&*store).expect("reads");
    drop(store);
    (dir, records)
}

/// Writes `forged` into a copy of the ledger and returns it.
fn copy_with(original: &Path, forged: &[Frame], skill: Skill) -> TempDir {
    let copy = quick_dir();
    copy_dir(original, copy.path());
    forge(copy.path(), forged, skill);
    copy
}

/// Opens in both ways, with the index and without, and verifies; returns in how many of the four the harm was found.
fn times_found(original: &Path, forged: &[Frame], skill: Skill, records: &Records) -> usize {
    let ways =
        [OpenCheck::SinceIndex, OpenCheck::Whole].map(|check| [(check, true), (check, false)]);
    let found = |(check, has_index): &(OpenCheck, bool)| {
        let copy = copy_with(original, forged, skill);
        if !has_index {
            fs::remove_dir_all(copy.path().join("index")).expect("removes");
        }
        let options = Options {
            check: *check,
            ..roomy()
        };
        let Ok((store, _)) = LocalStore::open(copy.path(), &options) else {
            return true;
        };
        assert_nothing_wrong_is_read(&store, records);
        !store.verify(&mut |_| ()).expect("looks").is_sound()
    };
    ways.as_flattened().iter().filter(|way| found(way)).count()
}

/// If this fails, the forger does not write what the format page says, and the tests below prove nothing.
#[test]
fn a_journal_written_by_the_format_page_alone_is_sound() {
    let (original, records) = ledger();
    for skill in SKILLS {
        let copy = copy_with(original.path(), &frames(original.path()), skill);
        let (store, report) = open(
            copy.path(),
            &Options {
                check: OpenCheck::Whole,
                ..roomy()
            },
        );
        assert!(report.losses.is_empty(), "{report:?}");
        assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
        assert_eq!(everything(&*store).expect("reads").0, records);
    }
}

/// If this fails, a frame can be taken out of the middle of a stream, or said twice, unseen.
#[test]
fn dropped_and_repeated_appends_are_found() {
    let (original, records) = ledger();
    let whole = frames(original.path());
    for skill in SKILLS {
        // The last append of each stream is the matter of the test of cut ends.
        for at in 0..whole.len() {
            let is_last_of_stream = !whole[at + 1..]
                .iter()
                .any(|frame| stream_of(&frame.payload) == stream_of(&whole[at].payload));
            let mut forged = whole.clone();
            let dropped = forged.remove(at);
            if !is_last_of_stream {
                let found = times_found(original.path(), &forged, skill, &records);
                assert_eq!(found, 4, "{skill:?}: {at} dropped");
            }
            for again in [at, whole.len() - 1] {
                let mut forged = whole.clone();
                forged.insert(again + 1, dropped.clone());
                let found = times_found(original.path(), &forged, skill, &records);
                // After the anchor, what is no next frame was never acknowledged, and is cut off.
                let is_after_anchor = skill == Skill::Cuts && again == whole.len() - 1;
                let expected = if is_after_anchor { 0 } else { 4 };
                assert_eq!(found, expected, "{skill:?}: {at} repeated after {again}");
            }
        }
    }
}

/// If this fails, two appends of a stream can change places unseen.
#[test]
fn swapped_appends_are_found() {
    let (original, records) = ledger();
    let whole = frames(original.path());
    for skill in SKILLS {
        for one in 0..whole.len() {
            for other in one + 1..whole.len() {
                let mut forged = whole.clone();
                forged.swap(one, other);
                let found = times_found(original.path(), &forged, skill, &records);
                let between = &whole[one..=other];
                let is_order_of_streams_kept = skill == Skill::Chains
                    && !between[1..].iter().any(|frame| shares(frame, &between[0]))
                    && !between[..between.len() - 1]
                        .iter()
                        .any(|frame| shares(frame, &between[between.len() - 1]));
                // Streams that change places in the file, each whole and in order, are the same records.
                if !is_order_of_streams_kept {
                    assert_eq!(found, 4, "{skill:?}: {one} and {other} swapped");
                }
            }
        }
    }
}

fn shares(one: &Frame, other: &Frame) -> bool {
    stream_of(&one.payload) == stream_of(&other.payload)
}

/// If this fails, a byte of a record can be changed unseen by whoever chains the frames anew.
#[test]
fn a_changed_byte_of_any_append_is_found() {
    let (original, records) = ledger();
    let whole = frames(original.path());
    for skill in SKILLS {
        for (at, frame) in whole.iter().enumerate() {
            for byte in 0..frame.payload.len() {
                let mut forged = whole.clone();
                forged[at].payload[byte] ^= 1 << (byte % 8);
                let copy = copy_with(original.path(), &forged, skill);
                fs::remove_dir_all(copy.path().join("index")).expect("removes");
                if let Ok((store, _)) = LocalStore::open(copy.path(), &roomy()) {
                    assert_nothing_wrong_is_read(&store, &records);
                    let report = store.verify(&mut |_| ()).expect("looks");
                    assert!(!report.is_sound(), "{skill:?}: byte {byte} of append {at}");
                }
            }
        }
    }
}

/// If this fails, an end that was cut off passes while the anchor still names it; or one whose anchor was made good
/// keeps the heads that somebody wrote down.
#[test]
fn a_cut_end_is_found_by_the_anchor_or_by_the_heads_kept_elsewhere() {
    let (original, records) = ledger();
    let whole = frames(original.path());
    let heads = |store: &dyn Store| store.streams("", None, 99).expect("lists");
    let kept = {
        let (store, _) = open(original.path(), &roomy());
        heads(&*store)
    };
    for end in 1..whole.len() {
        let cut = &whole[..end];
        assert_eq!(
            times_found(original.path(), cut, Skill::Cuts, &records),
            4,
            "{end}"
        );
        let copy = copy_with(original.path(), cut, Skill::Anchors);
        fs::remove_dir_all(copy.path().join("index")).expect("removes");
        let (store, _) = open(copy.path(), &roomy());
        assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
        assert_ne!(heads(&*store), kept, "{end}");
    }
}

/// If this fails, there is a byte of the journal's file that can be changed unseen.
#[test]
fn a_flipped_bit_in_any_byte_of_the_file_is_found() {
    let (original, records) = ledger();
    let path = "journal/0000000001.seg";
    let bytes = fs::read(original.path().join(path)).expect("reads");
    for at in 0..bytes.len() {
        let mut changed = bytes.clone();
        changed[at] ^= 1 << (at % 8);
        let copy = quick_dir();
        copy_dir(original.path(), copy.path());
        fs::write(copy.path().join(path), &changed).expect("writes");
        if let Ok((store, _)) = LocalStore::open(copy.path(), &roomy()) {
            assert_nothing_wrong_is_read(&store, &records);
            let report = store.verify(&mut |_| ()).expect("looks");
            assert!(!report.is_sound(), "byte {at}");
        }
    }
}
