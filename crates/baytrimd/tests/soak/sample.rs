//! What the program uses at one moment.

use std::fmt;
use std::path::Path;

use crate::child::Program;
use crate::work::Counts;

/// What the program uses at one moment, and how long requests took since the one before.
#[derive(Debug, Clone)]
pub(crate) struct Sample {
    pub(crate) at_s: f64,
    pub(crate) memory_kb: u64,
    pub(crate) files: usize,
    pub(crate) threads: u64,
    pub(crate) ledger_files: usize,
    pub(crate) ledger_bytes: u64,
    pub(crate) p50_ms: f64,
    pub(crate) p99_ms: f64,
}

pub(crate) fn sample(program: &Program, data: &Path, counts: &Counts, at_s: f64) -> Sample {
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
        memory_kb: program.resident_kb(),
        files: program.open_count(),
        threads: program.thread_count(),
        ledger_files,
        ledger_bytes,
        p50_ms: at(0.5),
        p99_ms: at(0.99),
    }
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
            "| {:.0} | {:.0} | {} | {} | {} | {:.0} | {:.1} | {:.1} |",
            self.at_s,
            self.memory_kb as f64 / 1000.0,
            self.files,
            self.threads,
            self.ledger_files,
            self.ledger_bytes as f64 / 1e6,
            self.p50_ms,
            self.p99_ms
        )
    }
}
