//! Prints the channel map that is proposed for each log named on the command line.
//!
//! `cargo run -p baytrim-intake --example suggest_channels LOG...`
#![expect(clippy::print_stdout, reason = "prints what it found")]

use std::error::Error;
use std::fs::File;

use baytrim_intake::{LogLimits, suggest};

fn main() -> Result<(), Box<dyn Error>> {
    for path in std::env::args().skip(1) {
        let mut file = File::open(&path)?;
        match suggest(&mut file, &path, &LogLimits::default()) {
            Ok(suggestion) => {
                println!("{}", suggestion.toml);
                for note in &suggestion.notes {
                    println!("note: {note}");
                }
                match (&suggestion.map, &suggestion.refusal) {
                    (None, _) => println!("=> the map is not complete"),
                    (Some(_), Some(refusal)) => println!("=> refused under it: {refusal}"),
                    (Some(_), None) => println!("=> {} rows are read", suggestion.row_count),
                }
                println!("unused: {}\n", suggestion.unused_columns.join(" | "));
            }
            Err(error) => println!("{error}\n"),
        }
    }
    Ok(())
}
