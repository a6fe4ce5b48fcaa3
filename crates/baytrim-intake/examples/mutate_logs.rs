//! Reads altered copies of good logs for a stated time, and counts what becomes of them.
//!
//! `cargo run --release -p baytrim-intake --features columnar --example mutate_logs SECONDS FILE...`
//!
//! Each copy has some bytes changed, a span doubled, cut out or filled, or its end cut off; by a
//! generator of fixed seed, so that a run can be repeated. A panic ends the run and names file and
//! copy. Peak memory is that of the process.
#![expect(clippy::print_stdout, reason = "prints what it counted")]
#![expect(clippy::print_stderr, reason = "names the copy that brought it down")]
#![expect(clippy::disallowed_methods, reason = "measures time")]

use std::collections::BTreeMap;
use std::error::Error;
use std::time::{Duration, Instant};

use baytrim_intake::{LogLimits, read_log, suggest};
use baytrim_model::channel::ChannelMap;
use baytrim_model::engine::Fuel;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let seconds: f64 = arguments
        .next()
        .ok_or("say for how many seconds")?
        .parse()?;
    for path in arguments {
        run(&path, Duration::from_secs_f64(seconds))?;
    }
    Ok(())
}

/// Names the copy in hand when it brings the process down.
struct Watch<'a> {
    path: &'a str,
    copy: u64,
}

impl Drop for Watch<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("{}: copy {} brought the reader down", self.path, self.copy);
        }
    }
}

fn run(path: &str, time: Duration) -> Result<(), Box<dyn Error>> {
    let good = std::fs::read(path)?;
    let limits = LogLimits {
        bytes_max: 16 * 1024 * 1024,
        rows_max: 100_000,
        ..LogLimits::default()
    };
    let proposed = suggest(&mut good.as_slice(), path, &limits)?;
    let map: ChannelMap = proposed.map.ok_or("no map can be proposed for this log")?;
    let fuel = Fuel {
        name: "petrol".to_owned(),
        stoichiometric_afr: 14.7,
    };
    let mut outcomes: BTreeMap<&str, u64> = BTreeMap::new();
    let mut watch = Watch { path, copy: 0 };
    let start = Instant::now();
    let mut slowest = Duration::ZERO;
    while start.elapsed() < time {
        watch.copy += 1;
        let altered = alter(&good, watch.copy);
        let began = Instant::now();
        let outcome = match read_log(&mut altered.as_slice(), path, &map, &fuel, &limits) {
            Ok(_) => "read",
            Err(error) => error.reason(),
        };
        let _ = suggest(&mut altered.as_slice(), path, &limits);
        slowest = slowest.max(began.elapsed());
        *outcomes.entry(outcome).or_default() += 1;
    }
    println!(
        "{path}: {} copies in {:.0} s, slowest {:.3} s, {}",
        watch.copy,
        start.elapsed().as_secs_f64(),
        slowest.as_secs_f64(),
        peak_memory().unwrap_or_default(),
    );
    println!("    {outcomes:?}");
    Ok(())
}

/// Returns the most memory that this process has had so far, where the system tells.
fn peak_memory() -> Option<String> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(format!(
        "peak memory {}",
        line.trim_start_matches("VmHWM:").trim()
    ))
}

/// A generator of fixed seed: xorshift64* by Vigna, "An experimental exploration of Marsaglia's
/// xorshift generators, scrambled" (2016).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    fn below(&mut self, bound: usize) -> usize {
        usize::try_from(self.next() >> 33).unwrap_or(0) % bound.max(1)
    }

    fn byte(&mut self) -> u8 {
        self.next().to_le_bytes()[7]
    }
}

fn alter(good: &[u8], copy: u64) -> Vec<u8> {
    let mut chance = Chance(copy.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    let mut bytes = good.to_vec();
    for _ in 0..=chance.below(4) {
        if bytes.is_empty() {
            break;
        }
        let at = chance.below(bytes.len());
        let span = at..(at + 1 + chance.below(64)).min(bytes.len());
        match chance.below(9) {
            0..=2 => bytes[at] ^= 1 << chance.below(8),
            3 => bytes[at] = chance.byte(),
            4 => {
                let extreme = [0x00, 0x7f, 0x80, 0xff][chance.below(4)];
                let end = (at + [1, 2, 4, 8][chance.below(4)]).min(bytes.len());
                bytes[at..end].fill(extreme);
            }
            5 => {
                let doubled = bytes[span].to_vec();
                bytes.splice(at..at, doubled);
            }
            6 => drop(bytes.drain(span)),
            7 => {
                let fill = chance.byte();
                bytes[span].fill(fill);
            }
            _ => bytes.truncate(at.max(1)),
        }
    }
    bytes
}
