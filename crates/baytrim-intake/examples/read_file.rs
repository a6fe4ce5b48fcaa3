//! Reads a log with the project's own column names three times, and prints the seconds of the
//! quickest and the peak memory in kilobytes.
//!
//! `cargo run --release -p baytrim-intake --features columnar --example read_file LOG`
#![expect(clippy::print_stdout, reason = "prints what it measured")]
#![expect(clippy::disallowed_methods, reason = "measures time")]

use std::error::Error;
use std::fs::File;
use std::time::Instant;

use baytrim_intake::{LogLimits, read_log, standard_channels};
use baytrim_model::engine::Fuel;

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("name a log")?;
    let fuel = Fuel {
        name: "petrol".to_owned(),
        stoichiometric_afr: 14.7,
    };
    // Any second argument lifts the limits, to see what reading takes beyond them.
    let mut limits = LogLimits::default();
    if std::env::args().nth(2).is_some() {
        (limits.bytes_max, limits.rows_max) = (u64::MAX, usize::MAX);
    }
    let mut best_s = f64::INFINITY;
    for _ in 0..3 {
        let mut file = File::open(&path)?;
        let start = Instant::now();
        let intake = read_log(&mut file, &path, &standard_channels(), &fuel, &limits)?;
        best_s = best_s.min(start.elapsed().as_secs_f64());
        assert!(intake.report.row_count > 0, "the log has rows");
    }
    let status = std::fs::read_to_string("/proc/self/status")?;
    let peak = status.lines().find(|line| line.starts_with("VmHWM:"));
    let peak = peak
        .and_then(|line| line.split_whitespace().nth(1))
        .unwrap_or("0");
    println!("{best_s} {peak}");
    Ok(())
}
