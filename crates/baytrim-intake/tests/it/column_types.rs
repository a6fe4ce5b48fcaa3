//! Types of columns that are seldom met, and tables of a second independent writer, the Python package `polars`.

use baytrim_intake::{Intake, LogLimits, suggest};
use baytrim_model::channel::{ChannelMap, Quantity, Unit};

use crate::files::file;
use crate::support::{TIMED_TYPES, map_of_tables, read_with};

fn map() -> ChannelMap {
    map_of_tables("[time]\ncolumn = \"Time\"\n")
}

fn map_of_types() -> ChannelMap {
    map_of_tables(TIMED_TYPES)
}

#[track_caller]
fn holds(intake: &Intake, quantity: Quantity, tolerance: f64, expected: impl Fn(f64) -> f64) {
    let samples = &intake.samples;
    let values = samples.channel(quantity).unwrap();
    assert_eq!(values.len(), 400);
    for (row, (value, time_s)) in values.iter().zip(&samples.offset_s).enumerate() {
        let expected = expected(*time_s);
        let is_right = (value - expected).abs() <= tolerance || value.is_nan() && expected.is_nan();
        assert!(is_right, "row {row}: {quantity} is {value}, not {expected}");
    }
}

#[track_caller]
fn counts_on(intake: &Intake) {
    for (row, time_s) in intake.samples.offset_s.iter().enumerate() {
        let expected = row as f64 / 100.0;
        assert!((time_s - expected).abs() < 1e-9, "row {row}: {time_s}");
    }
}

/// If this fails, decimals of fixed width, half precision or words by number are other numbers, or none.
#[test]
fn decimals_halves_and_dictionaries_are_numbers() {
    for name in ["types.parquet", "types.arrow"] {
        let intake = read_with(&file(name), &map_of_types()).unwrap();
        counts_on(&intake);
        holds(&intake, Quantity::EngineSpeed, 1e-9, |t| 2000.0 + 300.0 * t);
        // Half precision has eleven binary digits: steps of 1/64 from 16 on.
        let half_step = 1.0 / 128.0 + 1e-9;
        holds(&intake, Quantity::PlateAngle, half_step, |t| 10.0 + 5.0 * t);
        holds(&intake, Quantity::CoolantTemperature, 0.05 + 1e-9, |t| {
            70.0 + 0.5 * t
        });
        holds(&intake, Quantity::Lambda, 1e-12, |t| {
            let is_missing = ((t * 100.0) % 50.0 - 7.0).abs() < 0.5;
            if is_missing {
                f64::NAN
            } else {
                0.85 + 0.02 * t
            }
        });
        holds(&intake, Quantity::FuelCut, 0.0, |t| {
            f64::from(u8::from((1.195..1.395).contains(&t)))
        });
    }
}

/// If this fails, a column of times of day or of lengths of time is no clock, or jumps back at midnight.
#[test]
fn times_of_day_and_lengths_of_time_are_clocks() {
    for name in ["types.parquet", "types.arrow"] {
        for column in ["Time", "Clock", "Clock ms"] {
            for unit in [Unit::S, Unit::Ms, Unit::ClockTime] {
                let mut map = map();
                map.time.column = Some(column.to_owned());
                map.time.unit = unit;
                counts_on(&read_with(&file(name), &map).unwrap());
            }
        }
    }
}

/// If this fails, a table of the second writer is taken for a damaged one: its Arrow files hold no stream
/// between their head and their index.
#[test]
fn tables_of_a_second_writer_are_read() {
    for name in ["polars.parquet", "polars.arrow"] {
        let intake = read_with(&file(name), &map()).unwrap_or_else(|e| panic!("{name}: {e}"));
        counts_on(&intake);
        holds(&intake, Quantity::EngineSpeed, 1e-9, |t| 2000.0 + 300.0 * t);
        holds(&intake, Quantity::PlateAngle, 1e-12, |t| 10.0 + 5.0 * t);
        holds(&intake, Quantity::Lambda, 1e-12, |t| 0.85 + 0.02 * t);
        assert_eq!(intake.report.unused_columns, ["Gear"]);
    }
}

/// If this fails, a map proposed for such a table leaves a column out, or cannot read what it was made for.
#[test]
fn a_map_is_proposed_for_them() {
    for name in ["types.parquet", "types.arrow", "polars.arrow"] {
        let found = suggest(&mut file(name).as_slice(), name, &LogLimits::default()).unwrap();
        let proposed = found.map.unwrap_or_else(|| panic!("{}", found.toml));
        for quantity in map().channels.keys() {
            assert!(
                proposed.channels.contains_key(quantity),
                "{name}: {quantity}"
            );
        }
        counts_on(&read_with(&file(name), &proposed).unwrap());
    }
}

/// If this fails, a sound table whose packing is not known passes for a damaged one.
#[test]
fn a_packing_that_is_not_known_is_named() {
    let error = read_with(&file("table_brotli.parquet"), &map()).unwrap_err();
    assert_eq!(
        error.to_string(),
        "log.csv: the Parquet file is packed with brotli or LZO; write it packed with snappy, zstd, gzip or lz4, or not packed"
    );
}

/// If this fails, an index that names a message twice, or one outside the file, is followed.
#[test]
fn an_index_that_lies_is_refused() {
    let whole = file("polars.arrow");
    let told = |bytes: &[u8]| read_with(bytes, &map()).unwrap_err().to_string();
    let damaged = "log.csv: the Arrow file is damaged or cut short; copy it again, or export the log once more";
    assert_eq!(told(&whole[..whole.len() - 6]), damaged);
    // The index holds the place of the one batch, 8 bytes, and its two lengths.
    let footer_length = i32::from_le_bytes(*whole[..whole.len() - 6].last_chunk().unwrap());
    let footer = whole.len() - 10 - usize::try_from(footer_length).unwrap();
    let is_message = |eight: &[u8]| {
        let place = usize::try_from(u64::from_le_bytes(eight.try_into().unwrap()));
        place.is_ok_and(|place| {
            whole[..footer]
                .get(place..)
                .is_some_and(|m| m.starts_with(&[0xff; 4]))
        })
    };
    let entry = footer + whole[footer..].windows(8).position(is_message).unwrap();
    for (place, length) in [(entry, 8), (entry + 8, 4), (entry + 16, 8)] {
        for value in [0x7f, 0xff] {
            let mut altered = whole.clone();
            altered[place..place + length].fill(value);
            assert_eq!(told(&altered), damaged, "{place} {value}");
        }
    }
}

/// If this fails, 25 kilobytes whose page's head claims two thousand million elements keep a core busy, for hours
/// with a few more of them. What bounds the steps is in `thrift`; found by fuzzing `table_none.parquet`.
#[test]
fn a_head_without_end_is_refused() {
    let bytes = file("endless_head.parquet");
    let error = suggest(&mut bytes.as_slice(), "log", &LogLimits::default()).unwrap_err();
    assert_eq!(error.reason(), "LOG_DAMAGED");
    let source = std::error::Error::source(&error).map(ToString::to_string);
    assert_eq!(source.as_deref(), Some("a page's head that is none"));
}

/// If this fails, columns that lie on top of each other, outside the file or claim more values than rows are
/// unpacked; the claims are those of the first column's first page and of the description.
#[test]
fn pages_that_lie_are_refused() {
    let whole = file("table_none.parquet");
    let told = |bytes: &[u8]| {
        let error = read_with(bytes, &map()).unwrap_err();
        std::error::Error::source(&error).map(ToString::to_string)
    };
    // The first head: type, bytes unpacked, bytes packed, and the entries of a dictionary.
    let head = whole[4..].windows(2).position(|two| two == [0x4c, 0x15]);
    let count = 4 + head.unwrap() + 2;
    let mut many = whole.clone();
    many[count..count + 2].copy_from_slice(&[0xfe, 0x7f]);
    assert_eq!(told(&many).as_deref(), Some("a page of impossible length"));
    let mut cut = whole.clone();
    cut.truncate(whole.len() - 4);
    assert_eq!(
        told(&cut).as_deref(),
        Some("the end of the file is missing")
    );
    let mut long = whole.clone();
    let length = long.len() - 8;
    long[length..length + 4].copy_from_slice(&[0xff, 0xff, 0xff, 0x7f]);
    assert_eq!(
        told(&long).as_deref(),
        Some("the end of the file is missing")
    );
}
