//! ASAM MDF 4 files of an independent writer, the Python package `asammdf`.

#![expect(clippy::print_stderr, reason = "a skipped test must be seen")]

use std::fs;
use std::path::{Path, PathBuf};

use baytrim_intake::report::{Alignment, LogFormat};
use baytrim_intake::{Intake, LogLimits, suggest};
use baytrim_model::channel::{ChannelMap, Quantity};

use crate::files::file;
use crate::support::{gzip, map_of_tables, read_source, read_with};

const FILES: [&str; 3] = [
    "four_clocks_410.mf4",
    "four_clocks_411_transposed.mf4",
    "four_clocks_410_unfinished.mf4",
];

fn map() -> ChannelMap {
    map_of_tables(
        r#"
[time]
column = "whatever a CSV of this bay calls it"
unit = "ms"
[channels.coolant_temperature]
column = "Coolant"
unit = "kelvin"
[channels.fuel_cut]
column = "Fuel cut"
unit = "flag"
[channels.shift_cut]
column = "Shift cut"
unit = "flag"
optional = true
"#,
    )
}

fn read(bytes: &[u8]) -> Intake {
    read_with(bytes, &map()).unwrap_or_else(|error| panic!("{error}: {error:?}"))
}

/// Channels of several clocks would be put beside each other by row, or be made up between readings.
///
/// Each quantity is a straight line in time, so that the true value is known at every moment.
#[test]
fn channels_of_four_clocks_come_onto_that_of_lambda() {
    for name in FILES {
        let intake = read(&file(name));
        let column = |quantity| intake.samples.channel(quantity).unwrap();
        assert_eq!(intake.samples.len(), 80, "{name}");
        for (row, offset_s) in intake.samples.offset_s.iter().enumerate() {
            let time_s = offset_s + 0.013;
            let near = |quantity, expected: f64, tolerance: f64| {
                let found = column(quantity)[row];
                assert!(
                    (found - expected).abs() <= tolerance,
                    "{name}, row {row}: {quantity} is {found}, not {expected}"
                );
            };
            near(Quantity::EngineSpeed, 2000.0 + 300.0 * time_s, 1e-9);
            // Rounded to a tenth by the writer.
            near(Quantity::PlateAngle, 10.0 + 5.0 * time_s, 0.05 + 1e-9);
            near(Quantity::CoolantTemperature, 70.0 + 0.5 * time_s, 1e-9);
            // The sixth reading is marked as not valid.
            if row == 5 {
                assert!(column(Quantity::Lambda)[row].is_nan(), "{name}");
            } else {
                near(Quantity::Lambda, 0.85 + 0.02 * time_s, 1e-12);
            }
            let cut = column(Quantity::FuelCut)[row];
            match time_s {
                time_s if time_s < 0.5 => assert!(cut.is_nan(), "{name}: {cut} at {time_s} s"),
                time_s if (1.2..1.4).contains(&time_s) => near(Quantity::FuelCut, 1.0, 0.0),
                _ => near(Quantity::FuelCut, 0.0, 0.0),
            }
        }
        let report = &intake.report;
        assert_eq!(report.format, LogFormat::Mdf4);
        assert!((report.clock.median_rate_hz - 20.0).abs() < 1e-6);
        let alignment = |quantity| report.channels[&quantity].alignment;
        assert_eq!(alignment(Quantity::Lambda), Alignment::AsLogged);
        assert_eq!(alignment(Quantity::EngineSpeed), Alignment::Linear);
        assert_eq!(alignment(Quantity::FuelCut), Alignment::Held);
        assert_eq!(
            report.unused_columns,
            ["Counter (group 2)", "Counter (group 3)"]
        );
        let codes: Vec<&str> = report
            .warnings
            .iter()
            .map(|warning| warning.code.as_str())
            .collect();
        let is_unfinished = name.contains("unfinished");
        assert_eq!(
            codes.contains(&"unfinished_file"),
            is_unfinished,
            "{name}: {codes:?}"
        );
        assert!(codes.contains(&"clocks_aligned"), "{codes:?}");
    }
}

/// A packed measurement file would be taken for a text.
#[test]
fn a_packed_file_is_read_as_the_plain_one() {
    let plain = read(&file(FILES[0]));
    let packed = read(&gzip(&file(FILES[0])));
    // NaN is not equal to itself.
    assert_eq!(
        format!("{:?}", plain.samples),
        format!("{:?}", packed.samples)
    );
}

/// What an MDF file lacks, or holds twice, must be told by name as in a text.
#[test]
fn missing_and_ambiguous_channels_are_named() {
    let bytes = file(FILES[0]);
    let mut map = map();
    map.channels.get_mut(&Quantity::EngineSpeed).unwrap().column = "Engine sped".to_owned();
    assert_eq!(
        read_with(&bytes, &map).unwrap_err().to_string(),
        "log.csv: there is no column \"Engine sped\" for engine_speed; the log has \"Engine speed\", \"Throttle\", \"Fuel cut\", \"Counter (group 2)\", \"Counter (group 3)\", \"Lambda\", \"Coolant\"; correct the name in the channel map, or log that channel"
    );
    map.channels.get_mut(&Quantity::EngineSpeed).unwrap().column = "Counter (group 3)".to_owned();
    map.channels.get_mut(&Quantity::EngineSpeed).unwrap().scale = 1000.0;
    let slow = read_with(&bytes, &map).unwrap();
    let rpm = slow.samples.channel(Quantity::EngineSpeed).unwrap();
    assert!((rpm[0] - 13.0).abs() < 1e-9, "{}", rpm[0]);
}

/// A small file that claims to unpack to much would fill the memory.
#[test]
fn a_file_that_claims_too_much_is_refused() {
    let bytes = file(FILES[1]);
    let limited = |bytes: &[u8], limits: &LogLimits| {
        read_source(&mut &*bytes, &map(), limits)
            .unwrap_err()
            .reason()
    };
    let rows = LogLimits {
        rows_max: 79,
        ..LogLimits::default()
    };
    assert_eq!(limited(&bytes, &rows), "LOG_TOO_MANY_ROWS");
    let tight = LogLimits {
        bytes_max: bytes.len() as u64,
        ..LogLimits::default()
    };
    assert_eq!(limited(&bytes, &tight), "LOG_TOO_MANY_BYTES");
    // The cycle counts and the unpacked sizes of compressed blocks, each made a billion.
    let mut claims = 0;
    for (id, field) in [(&b"##CG"[..], 24 + 6 * 8 + 8), (&b"##DZ"[..], 24 + 8)] {
        for at in positions(&bytes, id) {
            let mut claiming = bytes.clone();
            claiming[at + field..at + field + 8].copy_from_slice(&1_000_000_000_u64.to_le_bytes());
            let error = read_with(&claiming, &map()).map(|intake| intake.samples.len());
            assert!(
                error.is_err() || error.is_ok_and(|rows| rows == 80),
                "{id:?} at {at}"
            );
            claims += 1;
        }
    }
    assert!(claims >= 6, "{claims} claims were tried");
}

fn positions(bytes: &[u8], id: &[u8]) -> Vec<usize> {
    let windows = bytes.windows(4).enumerate();
    windows
        .filter(|(_, four)| *four == id)
        .map(|(at, _)| at)
        .collect()
}

/// A file cut anywhere must be refused, or read as far as it goes, and never bring the daemon down.
#[test]
fn a_file_cut_anywhere_does_no_harm() {
    for name in &FILES[..2] {
        let bytes = file(name);
        for cut in (0..bytes.len()).step_by(61) {
            if let Ok(intake) = read_with(&bytes[..cut], &map()) {
                assert!(intake.samples.len() <= 80, "{name} cut at {cut}");
            }
        }
    }
}

fn data() -> Option<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    folder.is_dir().then_some(folder)
}

/// Two files that another writer made of a road log would come out as other numbers than the log.
///
/// Every row is in one group, every fourth row in the other.
#[test]
fn files_made_of_a_real_log_hold_its_numbers() {
    let Some(folder) = data() else {
        eprintln!("skipped: files_made_of_a_real_log_hold_its_numbers: no ../shared/data");
        return;
    };
    let text = fs::read_to_string(folder.join("obd_road_1hz/live37.csv")).unwrap();
    let mut lines = text.lines();
    let header: Vec<&str> = lines.next().unwrap().split(',').map(str::trim).collect();
    let place = |name: &str| header.iter().position(|column| *column == name).unwrap();
    let rows: Vec<Vec<f64>> = lines
        .map(|line| {
            line.split(',')
                .filter_map(|cell| cell.trim().parse().ok())
                .collect()
        })
        .collect();
    for name in [
        "derived_live37_v410.mf4",
        "derived_live37_v411_transposed_zip.mf4",
    ] {
        let bytes = fs::read(folder.join("mdf4").join(name)).unwrap();
        let found = suggest(&mut bytes.as_slice(), name, &LogLimits::default()).unwrap();
        let mut map = found.map.unwrap();
        map.channels.get_mut(&Quantity::PlateAngle).unwrap().offset = 0.0;
        let intake = read_with(&bytes, &map).unwrap();
        assert_eq!(intake.samples.len(), rows.len(), "{name}");
        for (quantity, column, every) in [
            (Quantity::EngineSpeed, "ENGINE_RPM ()", 1),
            (Quantity::PlateAngle, "THROTTLE ()", 1),
            (Quantity::ShortTermTrim, "SHORT_TERM_FUEL_TRIM_BANK_1 ()", 1),
            (Quantity::ManifoldPressure, "INTAKE_MANIFOLD_PRESSURE ()", 1),
            (Quantity::LongTermTrim, "LONG_TERM_FUEL_TRIM_BANK_1 ()", 4),
            (Quantity::CoolantTemperature, "COOLANT_TEMPERATURE ()", 4),
        ] {
            let values = intake.samples.channel(quantity).unwrap();
            for (row, expected) in rows.iter().enumerate().step_by(every) {
                let expected = expected[place(column)];
                let found = values[row];
                assert!(
                    (found - expected).abs() < 1e-6,
                    "{name}, row {row}: {quantity} is {found}, not {expected}"
                );
            }
        }
    }
}

/// A log of bus frames would be refused for a missing column, which leaves its owner at a loss.
#[test]
fn a_log_of_bus_frames_is_told_so() {
    let Some(folder) = data() else {
        eprintln!("skipped: a_log_of_bus_frames_is_told_so: no ../shared/data");
        return;
    };
    for name in ["j1939_small_60B621D9.MF4", "j1939_idle_00000001.MF4"] {
        let bytes = fs::read(folder.join("mdf4").join(name)).unwrap();
        let expected = "log.csv: is an unfinished MDF file of bus frames and not of measured channels; decode the frames with the description of the bus (such as a DBC file) and export the channels";
        let error = read_with(&bytes, &map()).unwrap_err();
        assert_eq!(error.to_string(), expected, "{name}");
        let error = suggest(&mut bytes.as_slice(), "log.csv", &LogLimits::default()).unwrap_err();
        assert_eq!(error.to_string(), expected, "{name}");
    }
}
