//! A power cut at every change of a run: what was acknowledged is there, nothing is half there.

use std::path::Path;
use std::sync::Arc;

use baytrim_ledger_local::LocalStore;
use tempfile::TempDir;

use crate::disk_model::{Cut, Disk};
use crate::history::{Outcome, Write, apply, check, check_own, history};
use crate::recording::{Call, RecordingFiles};
use crate::support::{open, quick_dir, setting, small};

/// Frames up to this length are torn at every byte.
const EVERY_BYTE_MAX: usize = 400;

struct Run {
    dir: TempDir,
    writes: Vec<Write>,
    calls: Vec<Call>,
}

fn record(seed: u64, count: usize) -> Run {
    let dir = quick_dir();
    let files = RecordingFiles::default();
    let writes = history(seed, count);
    let (store, _) =
        LocalStore::open_on(Arc::new(files.clone()), dir.path(), &small()).expect("opens");
    for (number, write) in writes.iter().enumerate() {
        assert!(matches!(apply(&store, write), Outcome::Done));
        files.acknowledge(number);
    }
    drop(store);
    Run {
        dir,
        writes,
        calls: files.calls(),
    }
}

/// Opens an image and checks it; `done` writes were acknowledged before the cut.
fn check_image(disk: &Disk, cut: Cut, writes: &[Write], done: usize) {
    let image = quick_dir();
    disk.write_image(cut, image.path());
    let (store, report) = open(image.path(), &small());
    assert!(report.losses.is_empty());
    check(&*store, writes, done);
    // And the store goes on from there.
    let more = Write::Append {
        stream: "jobs/after".to_owned(),
        bodies: vec![b"goes on".to_vec()],
    };
    assert!(matches!(apply(&*store, &more), Outcome::Done));
    drop(store);
    let (store, report) = open(image.path(), &small());
    assert!(
        report.torn_journal.is_none() && report.torn_spool.is_none(),
        "cut twice: {report:?}"
    );
    assert_eq!(
        store
            .read(&crate::support::name("jobs/after"), 0, 9)
            .expect("reads")
            .len(),
        1
    );
}

fn acknowledged(calls: &[Call]) -> usize {
    calls
        .iter()
        .filter(|call| matches!(call, Call::Acknowledged(_)))
        .count()
}

fn disk_after(root: &Path, calls: &[Call]) -> Disk {
    let mut disk = Disk::new(root);
    for call in calls {
        disk.apply(call, usize::MAX);
    }
    disk
}

/// If this fails, a power cut at some moment takes an acknowledged record, leaves half an append, or stops the store from opening.
#[test]
fn a_power_cut_at_every_change_loses_nothing_acknowledged() {
    let run = record(2, 30);
    let mut images = 0;
    for end in 0..=run.calls.len() {
        let disk = disk_after(run.dir.path(), &run.calls[..end]);
        let done = acknowledged(&run.calls[..end]);
        let seeds = [
            Cut::Some { seed: end as u64 },
            Cut::Some {
                seed: end as u64 + 100_000,
            },
        ];
        for cut in [Cut::NothingUnsynced, Cut::EverythingUnsynced]
            .into_iter()
            .chain(seeds)
        {
            check_image(&disk, cut, &run.writes, done);
            images += 1;
        }
    }
    assert!(images > 500, "only {images} images");
}

/// If this fails, a write torn at some byte is taken for a whole one or stops the store from opening.
#[test]
#[expect(clippy::print_stdout, reason = "the long form tells how much it did")]
fn a_write_torn_at_every_byte_is_cut_off() {
    let run = record(3, 12);
    // The long form tears larger writes at every byte too.
    let long_step = usize::try_from(setting("BAYTRIM_TEAR_STEP", 101)).expect("a small number");
    let mut images = 0;
    for (end, call) in run.calls.iter().enumerate() {
        let Call::Write { bytes, .. } = call else {
            continue;
        };
        let before = disk_after(run.dir.path(), &run.calls[..end]);
        let done = acknowledged(&run.calls[..end]);
        let step = if bytes.len() <= EVERY_BYTE_MAX {
            1
        } else {
            long_step
        };
        for len in (0..bytes.len()).step_by(step) {
            let mut disk = before.clone();
            disk.apply(call, len);
            check_image(&disk, Cut::EverythingUnsynced, &run.writes, done);
            images += 1;
        }
    }
    println!("{images} torn writes");
    assert!(images > 1000, "only {images} images");
}

const WRITERS: usize = 6;
const WRITES_EACH: usize = 10;

/// Records six threads whose writes share syncs; acknowledgement `w * WRITES_EACH + n` is write `n` of thread `w`.
fn record_group() -> (TempDir, Vec<Call>) {
    let dir = quick_dir();
    let files = RecordingFiles::default();
    let (store, _) =
        LocalStore::open_on(Arc::new(files.clone()), dir.path(), &small()).expect("opens");
    std::thread::scope(|scope| {
        for writer in 0..WRITERS {
            let (store, files) = (&store, &files);
            scope.spawn(move || {
                for number in 0..WRITES_EACH {
                    assert!(matches!(
                        apply(store, &group_write(writer, number)),
                        Outcome::Done
                    ));
                    files.acknowledge(writer * WRITES_EACH + number);
                }
            });
        }
    });
    drop(store);
    (dir, files.calls())
}

/// Even writers append two records at a time, odd ones fill a spool.
fn group_write(writer: usize, number: usize) -> Write {
    let bytes = format!("<{writer}: {number}>").into_bytes();
    if writer.is_multiple_of(2) {
        Write::Append {
            stream: format!("w/{writer}"),
            bodies: vec![bytes.clone(), bytes],
        }
    } else {
        Write::Chunk {
            spool: format!("p/{writer}"),
            bytes,
        }
    }
}

/// If this fails, a power cut while several writers share a sync loses what one of them was told, or leaves half of a write.
#[test]
fn a_power_cut_within_a_shared_sync_loses_nothing_acknowledged() {
    let (dir, calls) = record_group();
    let mut done = [0; WRITERS];
    for end in 0..=calls.len() {
        if let Some(Call::Acknowledged(id)) = end.checked_sub(1).and_then(|last| calls.get(last)) {
            done[id / WRITES_EACH] = id % WRITES_EACH + 1;
        }
        let disk = disk_after(dir.path(), &calls[..end]);
        for cut in [
            Cut::NothingUnsynced,
            Cut::EverythingUnsynced,
            Cut::Some {
                seed: end as u64 + 7,
            },
        ] {
            let image = quick_dir();
            disk.write_image(cut, image.path());
            let (store, report) = open(image.path(), &small());
            assert!(report.losses.is_empty());
            for (writer, done) in done.into_iter().enumerate() {
                let writes: Vec<_> = (0..WRITES_EACH)
                    .map(|number| group_write(writer, number))
                    .collect();
                check_own(&*store, &writes, done);
            }
            assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
        }
    }
    assert!(calls.len() > 100, "only {} changes", calls.len());
}
