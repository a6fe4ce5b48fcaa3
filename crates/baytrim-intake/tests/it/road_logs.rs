//! Real logs of a scan tool, where they are at hand.
//!
//! Four road drives of a stock petrol car out of a published set ("Detecting Anomalies in the
//! Engine Coolant Sensor Using One-Class Classifiers", IEEE document 8891367). They are not part of
//! this repository; without them the test says that it was skipped. The expected figures were
//! counted in the files by a separate program (Python's csv module).

#![expect(clippy::print_stderr, reason = "a skipped test must be seen")]

use std::fs::File;
use std::path::Path;

use baytrim_intake::{LogLimits, parse_channel_map, read_log, standard_channels};
use baytrim_model::channel::{ChannelMap, Quantity};

use crate::support::fuel;

const MAP: &str = include_str!("../../../../docs/examples/channels/scan-tool-trims.toml");

struct Expected {
    file: &'static str,
    row_count: u64,
    last_tick_s: f64,
    rows_in_last_tick: u32,
    repeated_count: u64,
    plate_percent: [f64; 3],
    rpm: [f64; 3],
    short_term_percent: [f64; 3],
    unused_count: usize,
}

const EXPECTED: [Expected; 4] = [
    Expected {
        file: "long10.csv",
        row_count: 5_035,
        last_tick_s: 2474.0,
        rows_in_last_tick: 6,
        repeated_count: 3_671,
        plate_percent: [3.078_432, 8.568_628, 62.686_272],
        rpm: [0.0, 1907.75, 3768.75],
        short_term_percent: [-9.375, 0.0, 10.9375],
        unused_count: 18,
    },
    Expected {
        file: "live37.csv",
        row_count: 1_815,
        last_tick_s: 891.0,
        rows_in_last_tick: 1,
        repeated_count: 1_322,
        plate_percent: [2.686_275, 6.607_843, 65.823_532],
        rpm: [0.0, 1497.5, 2492.75],
        short_term_percent: [-10.9375, 0.78125, 11.71875],
        unused_count: 18,
    },
    Expected {
        file: "live12.csv",
        row_count: 1_151,
        last_tick_s: 611.0,
        rows_in_last_tick: 1,
        repeated_count: 846,
        plate_percent: [0.333, 5.431, 12.49],
        rpm: [0.0, 853.0, 1841.2],
        short_term_percent: [-10.938, 3.125, 10.938],
        unused_count: 18,
    },
    Expected {
        file: "drive10.csv",
        row_count: 5_454,
        last_tick_s: 2681.0,
        rows_in_last_tick: 4,
        repeated_count: 3_972,
        plate_percent: [3.078_432, 7.0, 52.490_196],
        rpm: [0.0, 1570.25, 2540.5],
        short_term_percent: [-7.8125, 0.0, 11.71875],
        unused_count: 18,
    },
];

/// The channel map in the examples would not read the logs that it was written for.
#[test]
fn the_example_map_reads_real_logs() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/obd_road_1hz");
    if !folder.is_dir() {
        eprintln!(
            "skipped: the_example_map_reads_real_logs: no {}",
            folder.display()
        );
        return;
    }
    let map = parse_channel_map(MAP).unwrap();
    for expected in &EXPECTED {
        let mut file = File::open(folder.join(expected.file)).unwrap();
        let intake = read_log(
            &mut file,
            expected.file,
            &map,
            &fuel(),
            &LogLimits::default(),
        );
        let intake = intake.unwrap_or_else(|error| panic!("{error}"));
        check(&intake, expected);
    }
}

fn check(intake: &baytrim_intake::Intake, expected: &Expected) {
    let name = expected.file;
    let report = &intake.report;
    assert_eq!(report.row_count, expected.row_count, "{name}");
    assert_eq!(
        report.clock.repeated_count, expected.repeated_count,
        "{name}"
    );
    assert_eq!(report.unused_columns.len(), expected.unused_count, "{name}");
    // The median tick is 2 s, over which the rows of the last one are spread.
    let rows = f64::from(expected.rows_in_last_tick);
    let duration_s = expected.last_tick_s + 2.0 * (rows - 1.0) / rows;
    assert!(
        (intake.samples.duration_s() - duration_s).abs() < 1e-9,
        "{name}: {}",
        intake.samples.duration_s()
    );
    assert!(
        intake
            .samples
            .offset_s
            .windows(2)
            .all(|pair| pair[0] < pair[1]),
        "{name}"
    );
    assert!(
        (1.5..=4.5).contains(&report.clock.median_rate_hz),
        "{name}: {}",
        report.clock.median_rate_hz
    );
    assert_eq!(report.channels.len(), 8, "{name}");
    for (quantity, figures) in [
        (Quantity::PlateAngle, expected.plate_percent),
        (Quantity::EngineSpeed, expected.rpm),
        (Quantity::ShortTermTrim, expected.short_term_percent),
    ] {
        let channel = &report.channels[&quantity];
        assert_eq!(channel.missing_count, 0, "{name}: {quantity}");
        let found = [channel.low, channel.median, channel.high];
        for (found, figure) in found.into_iter().zip(figures) {
            assert!(
                (found.unwrap() - figure).abs() < 1e-9,
                "{name}: {quantity} {found:?}, not {figure}"
            );
        }
    }
    // The log begins before the engine does.
    let rpm = intake.samples.channel(Quantity::EngineSpeed).unwrap();
    assert_eq!(rpm[0].to_bits(), 0.0_f64.to_bits(), "{name}");
}

/// A bench log without a header must be told where and what, and not be read as something else.
///
/// It is one file of boschresearch/Bosch-Engine-Datasets (CC BY-SA 4.0), which is not part of this
/// repository.
#[test]
fn real_logs_that_cannot_be_read_are_told_why() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    if !folder.is_dir() {
        eprintln!(
            "skipped: real_logs_that_cannot_be_read_are_told_why: no {}",
            folder.display()
        );
        return;
    }
    let refused = |file: &str, map: &ChannelMap| {
        let mut source = File::open(folder.join(file)).unwrap();
        let limits = LogLimits::default();
        let error = read_log(&mut source, "log.csv", map, &fuel(), &limits).unwrap_err();
        error.to_string()
    };
    assert_eq!(
        refused("bench_10hz/gengine1_raw_000018.csv", &standard_channels()),
        "log.csv: row 1: numbers stand where column names should (\"-1.53927118e+00,-1.10694214e+00,3.972290…\"); add a row with the name of each column above them"
    );
}

/// An analyser that writes noise with the engine off, and its stop for no reading, must be read with
/// both counted.
///
/// The data set is `pems.1` of the R package pems.utils (GPL), which is not part of this repository;
/// the counts were taken in the file by Python's csv module. It has no throttle: vehicle speed stands
/// in, so that the rest can be read.
#[test]
fn an_analyser_log_is_read_with_its_noise_counted() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    if !folder.is_dir() {
        eprintln!(
            "skipped: an_analyser_log_is_read_with_its_noise_counted: no {}",
            folder.display()
        );
        return;
    }
    let map = parse_channel_map(
        "[time]\ncolumn = \"local.time\"\n\
         [channels.engine_speed]\ncolumn = \"revolution\"\nunit = \"rpm\"\n\
         [channels.plate_angle]\ncolumn = \"velocity\"\nunit = \"percent\"\n\
         [channels.lambda]\ncolumn = \"afr\"\nunit = \"afr\"\nno_reading = [199.94]\n",
    )
    .unwrap();
    let mut source = File::open(folder.join("pems_afr_1hz/pems1.csv")).unwrap();
    let limits = LogLimits::default();
    let intake = read_log(&mut source, "log.csv", &map, &fuel(), &limits).unwrap();
    assert_eq!(intake.report.row_count, 1000);
    let lambda = &intake.report.channels[&Quantity::Lambda];
    assert_eq!(lambda.missing_count, 4);
    assert!((lambda.high.unwrap() - 199.93 / 14.7).abs() < 1e-9);
    let rpm = &intake.report.channels[&Quantity::EngineSpeed];
    assert_eq!(rpm.low.map(f64::to_bits), Some(0.0_f64.to_bits()));
    let mut warnings = intake.report.warnings.iter();
    let warning = warnings.find(|warning| warning.code == "speed_below_zero");
    assert!(
        warning.unwrap().message.starts_with("60 readings"),
        "{warning:?}"
    );
}
