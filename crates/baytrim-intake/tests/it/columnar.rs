//! Parquet and Arrow tables of an independent writer, the Python package `pyarrow`.

use baytrim_intake::report::LogFormat;
use baytrim_intake::{IntakeError, LogLimits, suggest};
use baytrim_model::channel::{ChannelMap, Quantity, Unit};

use crate::files::file;
use crate::support::{TIMED_TYPES, gzip, map_of_tables, read_source, read_with};

const FILES: [&str; 8] = [
    "table_none.parquet",
    "table_snappy.parquet",
    "table_zstd.parquet",
    "table_gzip.parquet",
    "table_lz4.parquet",
    "table_lz4.arrow",
    "table_zstd.arrow",
    "table_stream.arrows",
];

fn map() -> ChannelMap {
    map_of_tables(TIMED_TYPES)
}

/// Each type of column and each codec must come out as the numbers that were written.
#[test]
fn tables_hold_the_numbers_that_were_written() {
    for name in FILES {
        let intake =
            read_with(&file(name), &map()).unwrap_or_else(|error| panic!("{name}: {error:?}"));
        let samples = &intake.samples;
        assert_eq!(samples.len(), 400, "{name}");
        let column = |quantity| samples.channel(quantity).unwrap();
        for (row, &time_s) in samples.offset_s.iter().enumerate() {
            assert!(
                (time_s - row as f64 / 100.0).abs() < 1e-12,
                "{name}: {time_s}"
            );
            let near = |quantity, expected: f64, tolerance: f64| {
                let found = column(quantity)[row];
                assert!(
                    (found - expected).abs() <= tolerance,
                    "{name}, row {row}: {quantity} is {found}"
                );
            };
            near(Quantity::EngineSpeed, 2000.0 + 300.0 * time_s, 1e-3);
            near(Quantity::PlateAngle, 10.0 + 5.0 * time_s, 0.05 + 1e-9);
            near(
                Quantity::CoolantTemperature,
                70.0 + 0.5 * time_s,
                0.5 + 1e-9,
            );
            if row % 50 == 7 {
                assert!(column(Quantity::Lambda)[row].is_nan(), "{name}");
            } else {
                near(Quantity::Lambda, 0.85 + 0.02 * time_s, 1e-12);
            }
            let is_cut = (120..140).contains(&row);
            near(Quantity::FuelCut, f64::from(u8::from(is_cut)), 0.0);
        }
        let is_parquet = name.ends_with("parquet");
        let format = if is_parquet {
            LogFormat::Parquet
        } else {
            LogFormat::ArrowIpc
        };
        assert_eq!(intake.report.format, format);
        assert_eq!(intake.report.unused_columns, ["Stamp", "Gear", "Note"]);
    }
}

/// A column of dates would need its unit told, though the file says what it is.
#[test]
fn a_column_of_moments_is_a_clock_whatever_the_unit() {
    for name in ["table_snappy.parquet", "table_lz4.arrow"] {
        for unit in [Unit::S, Unit::Ms, Unit::Iso8601] {
            let mut map = map();
            map.time.column = Some("Stamp".to_owned());
            map.time.unit = unit;
            let samples = read_with(&file(name), &map).unwrap().samples;
            for (row, time_s) in samples.offset_s.iter().enumerate() {
                assert!(
                    (time_s - row as f64 / 100.0).abs() < 1e-6,
                    "{name}: {time_s}"
                );
            }
        }
    }
}

/// A table must get a proposal as a text does.
#[test]
fn a_map_is_proposed_for_a_table() {
    for name in FILES {
        let found = suggest(&mut file(name).as_slice(), name, &LogLimits::default()).unwrap();
        assert_eq!(found.refusal, None, "{name}");
        let proposed = found
            .map
            .unwrap_or_else(|| panic!("{name}: {}", found.toml));
        for (quantity, channel) in &map().channels {
            assert_eq!(proposed.channels[quantity].column, channel.column, "{name}");
            assert_eq!(proposed.channels[quantity].unit, channel.unit, "{name}");
        }
        assert!(read_with(&file(name), &proposed).is_ok(), "{name}");
    }
}

/// What a table lacks, or claims, must be told as in a text.
#[test]
fn tables_at_fault_are_told_why() {
    let told = |bytes: &[u8], map: &ChannelMap| {
        let error: IntakeError = read_with(bytes, map).unwrap_err();
        error.to_string()
    };
    let altered = |quantity, column: &str| {
        let mut map = map();
        map.channels.get_mut(&quantity).unwrap().column = column.to_owned();
        map
    };
    for name in ["table_zstd.parquet", "table_lz4.arrow"] {
        let bytes = file(name);
        assert_eq!(
            told(&bytes, &altered(Quantity::Lambda, "Lamda")),
            "log.csv: there is no column \"Lamda\" for lambda; the log has \"Lambda\", \"Stamp\", \"Coolant\", \"Time\", \"Engine speed\", \"Throttle\", \"Fuel cut\", \"Gear\", \"Note\"; correct the name in the channel map, or log that channel"
        );
        assert_eq!(
            told(&bytes, &altered(Quantity::Lambda, "Note")),
            "log.csv: row 1, column \"Note\": \"row 0\" is not a number; fix the log, or list the text under no_reading_text of the channel"
        );
        let half = told(&bytes[..bytes.len() / 2], &map());
        assert!(
            half.ends_with(
                "file is damaged or cut short; copy it again, or export the log once more"
            ),
            "{half}"
        );
        let limits = LogLimits {
            rows_max: 399,
            ..LogLimits::default()
        };
        let error = read_source(&mut bytes.as_slice(), &map(), &limits).unwrap_err();
        assert_eq!(error.reason(), "LOG_TOO_MANY_ROWS", "{name}: {error}");
        let packed = read_with(&gzip(&bytes), &map()).unwrap();
        assert_eq!(packed.samples.len(), 400);
    }
}
