//! Any bytes as a log: a map is proposed, and they are read with it or with the standard one.
//!
//! The kind of file is told by its first bytes, so that one target reaches every reader; `run.sh` starts it
//! once for each, with that reader's files as seeds.
#![no_main]

use std::panic;
use std::thread;

use baytrim_intake::{LogLimits, read_log, standard_channels, suggest};
use baytrim_model::engine::Fuel;
use libfuzzer_sys::fuzz_target;

/// The Parquet and Arrow libraries panic on some damaged files. Each file is read on a thread of its
/// own, and its panic is told as damage: only one on the fuzzer's own thread is a find.
fn forgive_reader_threads() {
    let own = thread::current().id();
    let abort = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        if thread::current().id() == own {
            abort(info);
        }
    }));
}

fuzz_target!(init: forgive_reader_threads(), |bytes: &[u8]| {
    let limits = LogLimits {
        bytes_max: 8 << 20,
        rows_max: 50_000,
        ..LogLimits::default()
    };
    let proposed = suggest(&mut &*bytes, "log", &limits).ok();
    let map = proposed
        .and_then(|proposed| proposed.map)
        .unwrap_or_else(standard_channels);
    let fuel = Fuel {
        name: "petrol".to_owned(),
        stoichiometric_afr: 14.7,
    };
    let Ok(intake) = read_log(&mut &*bytes, "log", &map, &fuel, &limits) else {
        return;
    };
    let samples = &intake.samples;
    assert!(samples.offset_s.windows(2).all(|pair| pair[0] < pair[1]));
    for (quantity, values) in &samples.channels {
        assert_eq!(values.len(), samples.offset_s.len());
        let (low, high) = quantity.believable();
        let is_believable = |value: &f64| value.is_nan() || (low..=high).contains(value);
        assert!(values.iter().all(is_believable), "{quantity}");
    }
});
