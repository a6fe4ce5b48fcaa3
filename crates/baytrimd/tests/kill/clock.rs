//! The real program under a clock that somebody sets: an hour back, a year ahead, and right again.
//!
//! Needs Debian's `libfaketime`; without it the test says so and tests nothing. What rests on the clock alone (rules of
//! removal, sessions, tokens) has tests of its own that need nothing.

use std::path::Path;
use std::time::Duration;

use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;

use crate::child::Program;
use crate::child::live::Live;
use crate::client::{Client, batch};

const LIBRARY: &str = "/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1";

/// If this fails, a clock that is set loses records or their order, drops a live pull, or nobody is told of it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_clock_that_jumps_loses_nothing() {
    if !Path::new(LIBRARY).exists() {
        println!("SKIPPED: {LIBRARY} is not there; install Debian's libfaketime");
        return;
    }
    let directory = tempfile::tempdir().unwrap();
    let (data, clock) = (
        directory.path().join("ledger"),
        directory.path().join("clock"),
    );
    let set = |to: &str| std::fs::write(&clock, to).unwrap();
    set("+0");
    let environment = [
        ("LD_PRELOAD", LIBRARY),
        ("FAKETIME_TIMESTAMP_FILE", clock.to_str().unwrap()),
        ("FAKETIME_NO_CACHE", "1"),
        ("FAKETIME_DONT_FAKE_MONOTONIC", "1"),
    ];
    let rules = "[retention]\nraw_logs_days = 30\nunfinished_days = 8\n";
    let program = Program::start_with(&data, rules, &environment);
    let line = program.listening().unwrap();
    let wire = line.connect().await;
    let mut client = Client::new(0, 1).until(&line, 1).await;
    let mut live = Live::open(&wire, "c0-0", "steady-pull").await.unwrap();
    assert!(matches!(live.next().await.unwrap(), Out::Opened(_)));
    for (number, to) in (1..).zip(["-3600", "+31536000", "-3600", "+0"]) {
        set(to);
        live.send(In::Batch(batch(number, 50.0)));
        match live.next().await.unwrap() {
            Out::Progress(progress) => assert_eq!(progress.durable_sequence_number, number),
            other => panic!("{other:?}"),
        }
        client = client.more(&line, 2).await;
    }
    client.check_everything(&line, &data).await;
    let told = program.told();
    assert!(
        told.contains("the clock is behind the record before"),
        "{told}"
    );
    assert!(program.stop_within(Duration::from_secs(30)));
    crate::verify(&data, 0);
}
