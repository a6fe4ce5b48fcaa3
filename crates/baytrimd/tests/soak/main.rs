//! A busy shop's day, compressed: the real program under bays, verdicts, watches, pages and rules at once, and what it
//! uses of the machine meanwhile.
//!
//! The long form, with a drawing:
//! `BAYTRIM_SOAK_S=900 BAYTRIM_SOAK_SVG=docs/images/soak.svg cargo test --release -p baytrimd --test soak -- --nocapture`.
#![cfg(target_os = "linux")]
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::disallowed_methods,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "this is a test; the environment bounds the long form"
)]

#[path = "../bearer/mod.rs"]
mod bearer;
#[path = "../child/mod.rs"]
mod child;
mod plot;
mod sample;
mod work;

use std::sync::Arc;
use std::time::{Duration, Instant};

use child::Program;
use sample::{Sample, sample};
use work::{Counts, Shop};

/// Rounds of removing and checkpoints come as often as they may, instead of hours apart.
const CONFIG: &str = "[retention]\nraw_logs_days = 30\nunfinished_days = 8\nevery_s = 600\n[checkpoints]\nevery_s = 3\n[metrics]\nlisten = \"127.0.0.1:0\"\n[log]\nlevel = \"baytrimd=debug,info\"\n";
const SECONDS: u64 = 12;
const BAYS: u64 = 4;
/// Memory that a short run may take: caches fill, and nothing else should.
const GROWTH_KB_MAX: u64 = 100_000;

/// If this fails, a daemon that works all day leaks files, threads or memory, or gets slower.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_busy_day_leaves_nothing_behind() {
    let seconds = std::env::var("BAYTRIM_SOAK_S").map_or(SECONDS, |text| text.parse().unwrap());
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let program = Program::start_with(&data, CONFIG, &[]);
    let line = program.listening().unwrap();
    let counts = Arc::new(Counts::default());
    let shop = Shop::new(line, Arc::clone(&counts));
    shop.work_alone().await;
    shop.stranger().await;
    let shop = shop.of_a_person().await;
    let figures = sample::figures_of(&program);
    let look = |at_s| sample(&program, &data, figures, &counts, at_s);
    let begin = look(0.0);
    let (began, end) = (
        Instant::now(),
        Instant::now() + Duration::from_secs(seconds),
    );
    let mut tasks = Vec::new();
    for bay in 0..BAYS {
        tasks.push(tokio::spawn(shop.clone().bay(bay, end)));
    }
    tasks.push(tokio::spawn(shop.clone().watcher(end)));
    tasks.push(tokio::spawn(shop.clone().reader(end)));
    tasks.push(tokio::spawn(shop.clone().sender_of_rubbish(end)));
    let mut samples = Vec::new();
    let pause = Duration::from_secs_f64((seconds as f64 / 200.0).max(0.5));
    while Instant::now() < end {
        tokio::time::sleep(pause).await;
        samples.push(look(began.elapsed().as_secs_f64()));
    }
    for task in tasks {
        task.await.unwrap();
    }
    // Threads that rest are given up after ten seconds; connections at once.
    tokio::time::sleep(Duration::from_secs(2)).await;
    let last = look(began.elapsed().as_secs_f64());
    tell(&samples, &begin, &last, &counts);
    if let Ok(file) = std::env::var("BAYTRIM_SOAK_SVG") {
        std::fs::write(file, plot::draw(&samples)).unwrap();
    }
    assert!(
        last.files <= begin.files + 20,
        "{} files are open, {} at the start: {}",
        last.files,
        begin.files,
        program.told()
    );
    assert!(last.memory_kb < begin.memory_kb + GROWTH_KB_MAX * (1 + seconds / 600));
    let told = program.told();
    assert!(!told.contains("ERROR"), "{told}");
    assert!(told.contains("a caller without a good token was turned away"));
    assert!(told.contains("CreateProposal"), "it says nothing");
    let named = told.lines().find(|line| line.contains(work::PERSON));
    assert_eq!(named, None, "the log names a person");
    assert!(counts.verdicts.get() > 0 && counts.pages.get() > 0 && counts.changes.get() > 0);
    assert!(program.stop_within(Duration::from_secs(30)));
}

/// Prints what was done, and how the parts of the run differ.
fn tell(samples: &[Sample], begin: &Sample, last: &Sample, counts: &Counts) {
    println!("{counts}");
    println!(
        "| from s | memory MB | of it cached | open files | threads | ledger files | ledger MB | request p50 ms | p99 ms |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    let tenth = (samples.len() / 10).max(1);
    let starts = samples.chunks(tenth).map(|part| &part[part.len() / 2]);
    for sample in std::iter::once(begin).chain(starts).chain([last]) {
        println!("{sample}");
    }
}
