//! The real program, killed again and again at random moments while clients record into it.
//!
//! The long form: `BAYTRIM_KILLS=1000 BAYTRIM_KILL_SEED=1 cargo test -p baytrimd --test kill -- --nocapture`.
#![cfg(unix)]
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "these are tests; the environment bounds the long form"
)]

#[path = "../bearer/mod.rs"]
mod bearer;
#[path = "../child/mod.rs"]
mod child;
mod client;
#[cfg(target_os = "linux")]
mod clock;
#[cfg(target_os = "linux")]
mod crowd;
mod network;

use std::path::Path;
use std::time::Duration;

use baytrim_ledger::Store as _;
use baytrim_ledger_local::{LocalStore, Options};

use child::Program;
use client::Client;

/// Kills in the short form.
const KILLS: u64 = 12;
const CLIENTS: u64 = 4;
/// Kills after which the whole ledger is verified.
const VERIFY_EVERY: u64 = 25;
/// One kill in so many comes while the program still opens its ledger.
const EARLY_EVERY: u64 = 6;

/// Is a small random generator (xorshift64*, Vigna 2016), so that a seed gives the same choices everywhere.
struct Random(u64);

impl Random {
    fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    fn within(&mut self, range: std::ops::Range<u64>) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let next = self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 16;
        range.start + next % (range.end - range.start)
    }
}

fn setting(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap())
}

/// If this fails, a daemon that is killed loses, halves or invents something, or its clients can't go on.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_daemon_killed_at_any_moment_keeps_what_it_acknowledged() {
    let (kills, seed) = (
        setting("BAYTRIM_KILLS", KILLS),
        setting("BAYTRIM_KILL_SEED", 1),
    );
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let mut random = Random::new(seed);
    let mut clients: Vec<Client> = (0..CLIENTS)
        .map(|number| Client::new(number, seed))
        .collect();
    let mut early = 0;
    for round in 1..=kills {
        if random.within(0..EARLY_EVERY) == 0 {
            Program::start(&data).kill_after(Duration::from_micros(random.within(0..150_000)));
            early += 1;
            continue;
        }
        let program = Program::start(&data);
        let Some(line) = program.listening() else {
            panic!("round {round}: it does not start: {}", program.told());
        };
        let tasks: Vec<_> = clients
            .drain(..)
            .map(|client| tokio::spawn(client.work(line.clone())))
            .collect();
        tokio::time::sleep(Duration::from_micros(random.within(5_000..500_000))).await;
        program.kill_after(Duration::ZERO);
        for task in tasks {
            clients.push(task.await.unwrap());
        }
        if round % VERIFY_EVERY == 0 || round == kills {
            verify(&data, round);
        }
    }
    let program = Program::start(&data);
    let line = program.listening().unwrap();
    let mut sums = [0; 4];
    for client in &clients {
        client.check_everything(&line, &data).await;
        for (sum, count) in sums.iter_mut().zip(client.counts()) {
            *sum += count;
        }
    }
    let [jobs, pulls, batches, resumed] = sums;
    println!(
        "{kills} kills, {early} of them while opening; acknowledged: {jobs} jobs, {pulls} pulls, {batches} batches; \
         {resumed} pulls gone on with"
    );
    assert!(
        jobs > 0 && pulls > 0 && batches > kills && resumed > 0,
        "too little happened to be a test"
    );
}

fn verify(data: &Path, round: u64) {
    let (store, report) = LocalStore::open(data, &Options::default()).unwrap();
    assert!(report.losses.is_empty(), "round {round}: {report:?}");
    let verified = store.verify(&mut |_| ()).unwrap();
    assert!(verified.is_sound(), "round {round}: {verified:?}");
}
