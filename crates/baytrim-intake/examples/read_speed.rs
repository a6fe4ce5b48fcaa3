//! Measures how fast a generated log is read, plain and packed, and what memory that takes.
//!
//! `cargo run --release -p baytrim-intake --example read_speed [MEGABYTES]`
#![expect(clippy::print_stdout, reason = "prints what it measured")]
#![expect(clippy::disallowed_methods, reason = "measures time")]

use std::error::Error;
use std::fmt::Write as _;
use std::io::{Read, Write as _};
use std::time::Instant;

use baytrim_intake::{LogLimits, read_log, standard_channels};
use baytrim_model::engine::Fuel;
use flate2::Compression;
use flate2::write::GzEncoder;

const HEADER: &str =
    "offset_s,rpm,plate_percent,lambda,coolant_c,gear,speed_km_h,oil_c,volt,note\n";

/// Largest log that is also held in memory, for reading without the cost of making it.
const HELD_MEGABYTES_MAX: usize = 200;

fn main() -> Result<(), Box<dyn Error>> {
    let megabytes: usize = match std::env::args().nth(1) {
        Some(text) => text.parse()?,
        None => 50,
    };
    let mut log = Generated::new(megabytes * 1_000_000);
    measure("generated while it is read", &mut log)?;
    if megabytes > HELD_MEGABYTES_MAX {
        return Ok(());
    }
    let mut whole = Vec::new();
    Generated::new(megabytes * 1_000_000).read_to_end(&mut whole)?;
    measure("from memory", &mut whole.as_slice())?;
    let mut packer = GzEncoder::new(Vec::new(), Compression::fast());
    packer.write_all(&whole)?;
    measure("from memory, gzip", &mut packer.finish()?.as_slice())?;
    Ok(())
}

fn measure(what: &str, source: &mut dyn Read) -> Result<(), Box<dyn Error>> {
    let fuel = Fuel {
        name: "petrol".to_owned(),
        stoichiometric_afr: 14.7,
    };
    let limits = LogLimits {
        bytes_max: u64::MAX,
        rows_max: usize::MAX,
        ..LogLimits::default()
    };
    let start = Instant::now();
    let intake = read_log(
        source,
        "generated.csv",
        &standard_channels(),
        &fuel,
        &limits,
    )?;
    let seconds = start.elapsed().as_secs_f64();
    let report = &intake.report;
    println!(
        "{what}: {:.1} MB, {} rows in {seconds:.3} s: {:.0} MB/s, {:.2} million rows/s{}",
        report.byte_count as f64 / 1e6,
        report.row_count,
        report.byte_count as f64 / 1e6 / seconds,
        report.row_count as f64 / 1e6 / seconds,
        peak_memory().map_or_else(String::new, |peak| format!(", peak memory {peak}")),
    );
    Ok(())
}

/// Returns the most memory that this process has had so far, where the system tells.
fn peak_memory() -> Option<String> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(line.trim_start_matches("VmHWM:").trim().to_owned())
}

/// A log that is made while it is read.
struct Generated {
    line: String,
    taken: usize,
    row: u64,
    bytes_left: usize,
}

impl Generated {
    fn new(bytes: usize) -> Self {
        Self {
            line: HEADER.to_owned(),
            taken: 0,
            row: 0,
            bytes_left: bytes,
        }
    }

    fn next_line(&mut self) {
        self.line.clear();
        self.taken = 0;
        let row = self.row as f64;
        let wave = (row * 0.001).sin();
        // Writing to a string cannot fail.
        let _ = writeln!(
            self.line,
            "{:.2},{:.1},{:.2},{:.4},{:.1},{},{:.1},{:.1},{:.2},",
            row * 0.01,
            4000.0 + 2500.0 * wave,
            50.0 + 40.0 * wave,
            0.9 + 0.05 * (row * 0.013).cos(),
            85.0 + wave,
            1 + self.row / 1000 % 6,
            100.0 + 40.0 * wave,
            95.0 - wave,
            13.8 + 0.2 * wave,
        );
        self.row += 1;
    }
}

impl Read for Generated {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let mut count = 0;
        while count < buffer.len() && (self.bytes_left > 0 || self.taken < self.line.len()) {
            if self.taken == self.line.len() {
                self.next_line();
            }
            let rest = &self.line.as_bytes()[self.taken..];
            let part = rest.len().min(buffer.len() - count);
            buffer[count..count + part].copy_from_slice(&rest[..part]);
            self.taken += part;
            count += part;
            self.bytes_left = self.bytes_left.saturating_sub(part);
        }
        Ok(count)
    }
}
