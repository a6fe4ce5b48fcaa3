//! Altered copies of good logs.

use std::fs;
use std::path::Path;

use baytrim_intake::{LogLimits, suggest};

use crate::files::file;
use crate::support::read_source;

/// Chance of fixed seed: xorshift64* by Vigna (2016).
struct Chance(u64);

impl Chance {
    fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let next = self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 33;
        usize::try_from(next).unwrap() % bound.max(1)
    }
}

/// Copies of each file.
const COPIES: usize = 150;

/// A log with a few bytes altered would bring the daemon down, or get in with values that no engine
/// has. `examples/mutate_logs.rs` does the same for as long as it is told.
#[test]
fn altered_copies_of_every_file_do_no_harm() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/files");
    let limits = LogLimits {
        bytes_max: 4 * 1024 * 1024,
        ..LogLimits::default()
    };
    for entry in fs::read_dir(folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let good = file(&name);
        let proposed = suggest(&mut good.as_slice(), &name, &limits).ok();
        let Some(map) = proposed.and_then(|proposed| proposed.map) else {
            continue;
        };
        let mut chance = Chance(0x9e37_79b9_7f4a_7c15);
        for _ in 0..COPIES {
            let mut altered = good.clone();
            for _ in 0..=chance.below(3) {
                let at = chance.below(altered.len());
                altered[at] ^= 1 << chance.below(8);
            }
            let _ = suggest(&mut altered.as_slice(), &name, &limits);
            let Ok(intake) = read_source(&mut altered.as_slice(), &map, &limits) else {
                continue;
            };
            for (quantity, values) in &intake.samples.channels {
                let (low, high) = quantity.believable();
                let is_believable = |value: &f64| value.is_nan() || (low..=high).contains(value);
                assert!(values.iter().all(is_believable), "{name}: {quantity}");
            }
        }
    }
}
