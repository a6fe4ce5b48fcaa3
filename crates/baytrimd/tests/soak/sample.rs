//! What the program uses at one moment.

use std::fmt;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;

use crate::child::Program;
use crate::work::Counts;

/// What the program uses at one moment, and how long requests took since the one before.
#[derive(Debug, Clone)]
pub(crate) struct Sample {
    pub(crate) at_s: f64,
    /// Memory of its own, without pages of the program's file.
    pub(crate) memory_kb: u64,
    /// Of it, what the program says it keeps so as not to read it again.
    pub(crate) cached_kb: u64,
    pub(crate) files: usize,
    pub(crate) threads: u64,
    pub(crate) ledger_files: usize,
    pub(crate) ledger_bytes: u64,
    pub(crate) p50_ms: f64,
    pub(crate) p99_ms: f64,
}

/// Takes a sample; `figures` is where the program's own are.
pub(crate) fn sample(
    program: &Program,
    data: &Path,
    figures: SocketAddr,
    counts: &Counts,
    at_s: f64,
) -> Sample {
    let mut waits = std::mem::take(&mut *counts.waits_ms.lock().unwrap());
    waits.sort_by(f64::total_cmp);
    let at = |share: f64| {
        let place = (waits.len() as f64 * share) as usize;
        waits.get(place).copied().unwrap_or(0.0)
    };
    let (mut ledger_files, mut ledger_bytes) = (0, 0);
    count(data, &mut ledger_files, &mut ledger_bytes);
    Sample {
        at_s,
        memory_kb: program.own_kb(),
        cached_kb: cached_bytes(&scrape(figures)) / 1000,
        files: program.open_count(),
        threads: program.thread_count(),
        ledger_files,
        ledger_bytes,
        p50_ms: at(0.5),
        p99_ms: at(0.99),
    }
}

/// Returns where a program says that its figures are.
pub(crate) fn figures_of(program: &Program) -> SocketAddr {
    let told = program.told();
    let mut lines = told.lines();
    let line = lines.find(|line| line.contains("figures are scraped"));
    let mut words = line.expect("it says where").rsplit([' ', '=']);
    words.next().unwrap().parse().unwrap()
}

/// Asks as a scraper does, over HTTP/1.0.
fn scrape(address: SocketAddr) -> String {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.write_all(b"GET /metrics HTTP/1.0\r\n\r\n").unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    answer
}

/// Returns the sum over everything that is kept.
fn cached_bytes(figures: &str) -> u64 {
    let lines = figures.lines();
    let kept = lines.filter_map(|line| line.strip_prefix("baytrim_cached_bytes{"));
    let numbers = kept.map(|line| line.rsplit_once(' ').unwrap().1.parse::<u64>());
    numbers.map(Result::unwrap).sum()
}

/// Counts files; those that go meanwhile are not there.
fn count(directory: &Path, files: &mut usize, bytes: &mut u64) {
    let Ok(entries) = std::fs::read_dir(directory) else {
        return;
    };
    for entry in entries.flatten() {
        match entry.metadata() {
            Ok(found) if found.is_dir() => count(&entry.path(), files, bytes),
            Ok(found) => {
                *files += 1;
                *bytes += found.len();
            }
            Err(_) => {}
        }
    }
}

impl fmt::Display for Sample {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            out,
            "| {:.0} | {:.0} | {:.1} | {} | {} | {} | {:.0} | {:.1} | {:.1} |",
            self.at_s,
            self.memory_kb as f64 / 1000.0,
            self.cached_kb as f64 / 1000.0,
            self.files,
            self.threads,
            self.ledger_files,
            self.ledger_bytes as f64 / 1e6,
            self.p50_ms,
            self.p99_ms
        )
    }
}
