//! Measures appends of the local store beside the machine's own floor, in one run.
//!
//! `cargo run --release -p baytrim-ledger-local --example append_speed -- [DIR]`
#![expect(clippy::print_stdout, reason = "a program that prints figures")]
#![expect(clippy::disallowed_methods, reason = "a program that measures time")]

use std::fs::File;
use std::os::unix::fs::FileExt as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use baytrim_ledger::{Head, Store, StreamName};
use baytrim_ledger_local::{LocalStore, OpenCheck, Options};

const BODY_BYTES: usize = 512;
const CHUNK_BYTES: usize = 2048;
const TOTAL: usize = 4000;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let parent = std::env::args_os()
        .nth(1)
        .map_or_else(std::env::temp_dir, PathBuf::from);
    let dir = tempfile::TempDir::new_in(parent)?;
    println!(
        "in {}; {TOTAL} writes per line, microseconds",
        dir.path().display()
    );
    println!(
        "{:<44} {:>8} {:>8} {:>8} {:>10}",
        "", "p50", "p99", "max", "per second"
    );
    floor(dir.path(), 1)?;
    floor(dir.path(), 2)?;
    let (store, _) = LocalStore::open(&dir.path().join("ledger"), &Options::default())?;
    for writers in [1, 8, 32] {
        measure(
            &format!("append {BODY_BYTES} B, {writers} writers"),
            writers,
            |writer, number, state| {
                let stream = name(&format!("w{writers}/{writer}"));
                let after = store.append(
                    &stream,
                    &state.unwrap_or(Head::EMPTY),
                    &[vec![byte(number); BODY_BYTES]],
                );
                after.map(Some).map_err(Into::into)
            },
        )?;
    }
    for writers in [1, 8, 32] {
        measure(
            &format!("spool {CHUNK_BYTES} B, {writers} writers"),
            writers,
            |writer, number, _| {
                let spool = name(&format!("s{writers}/{writer}"));
                store.spool_append(&spool, number as u64, &vec![byte(number); CHUNK_BYTES])?;
                Ok(None)
            },
        )?;
    }
    reads_and_opening(store, dir.path())?;
    floor(dir.path(), 1)
}

fn name(text: &str) -> StreamName {
    text.parse().expect("a good name")
}

fn byte(number: usize) -> u8 {
    u8::try_from(number % 251).unwrap_or(0)
}

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// Prints what a plain loop of write and fdatasync costs here, over one file or two in turn.
fn floor(dir: &Path, files: usize) -> Result<(), Box<dyn std::error::Error>> {
    let open = (0..files)
        .map(|number| File::create(dir.join(format!("floor-{number}"))))
        .collect::<Result<Vec<_>, _>>()?;
    let mut times = Vec::new();
    let begun = Instant::now();
    for number in 0..TOTAL / 4 {
        let start = Instant::now();
        open[0].write_all_at(
            &[byte(number); BODY_BYTES + 128],
            (number * (BODY_BYTES + 128)) as u64,
        )?;
        open[0].sync_data()?;
        for file in &open[1..] {
            // A slot written in place, as the anchor is.
            file.write_all_at(&[byte(number); 132], (number % 2 * 4096) as u64)?;
            file.sync_data()?;
        }
        times.push(start.elapsed());
    }
    print_line(
        &format!("floor: write + fdatasync of {files} file(s)"),
        times,
        begun.elapsed(),
    );
    Ok(())
}

fn measure(
    what: &str,
    writers: usize,
    write: impl Fn(usize, usize, Option<Head>) -> Result<Option<Head>, Failure> + Sync,
) -> Result<(), Box<dyn std::error::Error>> {
    let begun = Instant::now();
    let write = &write;
    let all = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..writers)
            .map(|writer| {
                scope.spawn(move || -> Result<Vec<Duration>, Failure> {
                    let mut state = None;
                    let mut times = Vec::new();
                    for number in 0..TOTAL / writers {
                        let start = Instant::now();
                        state = write(writer, number, state)?;
                        times.push(start.elapsed());
                    }
                    Ok(times)
                })
            })
            .collect();
        threads
            .into_iter()
            .map(|thread| thread.join().expect("no panic"))
            .collect::<Result<Vec<_>, _>>()
    })
    .map_err(|error| error.to_string())?;
    print_line(what, all.concat(), begun.elapsed());
    Ok(())
}

fn print_line(what: &str, mut times: Vec<Duration>, whole: Duration) {
    times.sort_unstable();
    let at = |percent: usize| times[(times.len() - 1) * percent / 100].as_micros();
    let rate = times.len() as f64 / whole.as_secs_f64();
    println!(
        "{what:<44} {:>8} {:>8} {:>8} {rate:>10.0}",
        at(50),
        at(99),
        at(100)
    );
}

fn reads_and_opening(store: LocalStore, dir: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let stream = name("w1/0");
    let head = store.head(&stream)?;
    let mut times = Vec::new();
    let begun = Instant::now();
    for _ in 0..TOTAL / 4 {
        let start = Instant::now();
        store.read(&stream, head.next_seq - 10, 10)?;
        times.push(start.elapsed());
    }
    print_line("read the last 10 records", times, begun.elapsed());
    let start = Instant::now();
    let report = store.verify(&mut |_| ())?;
    println!(
        "verify {} records, {} chunks: {:?}, sound: {}",
        report.record_count,
        report.chunk_count,
        start.elapsed(),
        report.is_sound()
    );
    drop(store);
    for check in [OpenCheck::SinceIndex, OpenCheck::Whole] {
        let start = Instant::now();
        let (_store, report) = LocalStore::open(
            &dir.join("ledger"),
            &Options {
                check,
                ..Options::default()
            },
        )?;
        println!(
            "open {check:?}, {} records: {:?}, index {:?}",
            report.record_count,
            start.elapsed(),
            report.index
        );
    }
    Ok(())
}
