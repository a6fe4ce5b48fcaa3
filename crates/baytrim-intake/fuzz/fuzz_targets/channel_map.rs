//! Any text as a channel map.
#![no_main]

use baytrim_intake::parse_channel_map;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match parse_channel_map(text) {
        Ok(map) => assert!(map.problems("").is_empty()),
        Err(errors) => assert!(!errors.is_empty()),
    }
});
