//! How many samples a second a daemon on a real disk makes durable, beside what the machine itself can do.
//!
//! `cargo bench -p baytrimd --bench ingest -- [SECONDS [REPEATS [BAYS]]]`: the real program as a child; 1, 8, 32 and
//! 128 bays, each with a connection of its own, send rows of ten channels at 100 Hz, then as fast as they are
//! taken. Bays and daemon share the machine, as the floors share it with nobody: see `docs/performance.md`.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::disallowed_methods,
    reason = "this is a benchmark"
)]

mod floor;
#[path = "../shared/mod.rs"]
mod shared;

use std::time::{Duration, Instant};

use shared::bay::{self, Pace};
use shared::daemon::Daemon;
use shared::{print_load, quantile, spread};

const BAYS: [u64; 4] = [1, 8, 32, 128];

/// What one run came to.
struct Run {
    rows_per_s: f64,
    latency_ms: [f64; 3],
    kb_per_bay: f64,
    cpu_share: f64,
    cpu_s_per_million: f64,
}

#[tokio::main]
async fn main() {
    let mut numbers = std::env::args()
        .skip(1)
        .filter_map(|text| text.parse::<u16>().ok());
    let seconds = u64::from(numbers.next().unwrap_or(5));
    let repeats = usize::from(numbers.next().unwrap_or(3));
    let only = numbers.next().map(u64::from);
    print_load("before");
    floor::print(repeats).await;
    println!(
        "| bays | pace | samples/s | durable after, p50 ms | p99 | p99.9 | KB per bay | CPU, % of a core | CPU s per million |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    for pace in [Pace::HUNDRED_HZ, Pace::FASTEST] {
        for bays in BAYS
            .into_iter()
            .filter(|bays| only.is_none_or(|only| only == *bays))
        {
            let mut runs = Vec::new();
            for _ in 0..repeats {
                runs.push(measure(bays, pace, Duration::from_secs(seconds)).await);
            }
            row(bays, pace, &runs);
        }
    }
    print_load("after");
}

fn row(bays: u64, pace: Pace, runs: &[Run]) {
    let column = |of: &dyn Fn(&Run) -> f64, digits: usize| spread(runs.iter().map(of), digits);
    let [p50, p99, p999] =
        [0, 1, 2].map(|index: usize| column(&|run: &Run| run.latency_ms[index], 1));
    println!(
        "| {bays} | {} | {} | {p50} | {p99} | {p999} | {} | {} | {} |",
        pace.name,
        column(&|run| run.rows_per_s, 0),
        column(&|run| run.kb_per_bay, 0),
        column(&|run| run.cpu_share * 100.0, 0),
        column(&|run| run.cpu_s_per_million, 2),
    );
}

async fn measure(bays: u64, pace: Pace, time: Duration) -> Run {
    let daemon = Daemon::start().await;
    let memory_before = daemon.program.resident_kb() as f64;
    let (cpu_before, began) = (daemon.program.cpu_s(), Instant::now());
    let tasks: Vec<_> = (0..bays)
        .map(|bay| {
            tokio::spawn(bay::stream(
                daemon.line.clone(),
                bay,
                bays,
                pace,
                began + time,
            ))
        })
        .collect();
    // Near the end, when all of them stream.
    tokio::time::sleep(time.mul_f64(0.9)).await;
    let memory = daemon.program.resident_kb() as f64;
    let (mut rows, mut waits) = (0, Vec::new());
    for task in tasks {
        let told = task.await.unwrap();
        rows += told.rows;
        waits.extend(told.waits);
    }
    let elapsed_s = began.elapsed().as_secs_f64();
    let cpu_s = daemon.program.cpu_s() - cpu_before;
    let waits_ms: Vec<f64> = waits
        .iter()
        .map(|wait| wait.as_secs_f64() * 1000.0)
        .collect();
    Run {
        rows_per_s: rows as f64 / elapsed_s,
        latency_ms: [0.5, 0.99, 0.999].map(|share| quantile(&waits_ms, share)),
        kb_per_bay: (memory - memory_before) / bays as f64,
        cpu_share: cpu_s / elapsed_s,
        cpu_s_per_million: cpu_s / rows as f64 * 1e6,
    }
}
