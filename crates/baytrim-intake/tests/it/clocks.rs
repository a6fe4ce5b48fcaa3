//! The notations in which logs tell time, and columns that a straight line turns into a quantity.

use std::fmt::Write;

use baytrim_intake::{Intake, standard_channels};
use baytrim_model::channel::{Quantity, RepeatedTime, Unit};

use crate::support::{altered, channel, read_with};

/// Reads a log with `times` in `unit` and returns its offsets.
fn offsets(unit: Unit, times: &[&str]) -> Vec<f64> {
    let map = altered(|map| map.time.unit = unit);
    let mut text = "offset_s;rpm;plate_percent;lambda\n".to_owned();
    for time in times {
        writeln!(text, "{time};2000;10,5;0,9").unwrap();
    }
    let intake = read_with(text.as_bytes(), &map).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(intake.report.unit_row, None);
    intake.samples.offset_s
}

/// A log in another notation of time would be refused, or come out at another rate.
#[test]
fn each_notation_of_time_gives_the_same_offsets() {
    let cases: [(Unit, [&str; 4]); 7] = [
        (Unit::S, ["7,0", "7,5", "8,0", "69,5"]),
        (Unit::Ms, ["7000", "7500", "8000", "69500"]),
        (Unit::Us, ["7000000", "7500000", "8000000", "69500000"]),
        (
            Unit::Min,
            [
                "0",
                "0,00833333333333",
                "0,01666666666667",
                "1,04166666666667",
            ],
        ),
        (
            Unit::Day,
            [
                "48000,5",
                "48000,500005787037",
                "48000,5000115740741",
                "48000,500723379630",
            ],
        ),
        (
            Unit::ClockTime,
            ["23:59:59,5", "00:00:00,0", "00:00:00.500", "00:01:02"],
        ),
        (
            Unit::Iso8601,
            [
                "2031-05-04T10:15:30.25Z",
                "2031-05-04T10:15:30.75Z",
                "2031-05-04T12:15:31.25+02:00",
                "2031-05-04T10:16:32.75Z",
            ],
        ),
    ];
    for (unit, times) in cases {
        let found = offsets(unit, &times);
        for (found, expected) in found.iter().zip([0.0, 0.5, 1.0, 62.5]) {
            assert!(
                (found - expected).abs() < 1e-6,
                "{unit}: {found} s, not {expected} s"
            );
        }
    }
}

/// Sensor volts, raw counts or degrees of plate would need arithmetic by hand, and would be got wrong.
#[test]
fn two_points_make_a_quantity_of_volts_counts_and_degrees() {
    let read = |plate: [[f64; 2]; 2], lambda: [[f64; 2]; 2], lambda_unit: Unit| {
        let map = altered(|map| {
            channel(map, Quantity::PlateAngle).points = Some(plate);
            channel(map, Quantity::Lambda).points = Some(lambda);
            channel(map, Quantity::Lambda).unit = lambda_unit;
        });
        let text =
            "offset_s,rpm,plate_percent,lambda\n0,2000,4.5,0\n0.1,2500,84.5,2.5\n0.2,3000,44.5,5\n";
        let samples = read_with(text.as_bytes(), &map).unwrap().samples;
        let column = |quantity| samples.channel(quantity).unwrap().to_vec();
        (column(Quantity::PlateAngle), column(Quantity::Lambda))
    };
    let degrees = [[4.5, 0.0], [84.5, 100.0]];
    let (plate, lambda) = read(degrees, [[0.0, 0.5], [5.0, 1.5]], Unit::Lambda);
    assert_eq!(plate, [0.0, 100.0, 50.0]);
    assert_eq!(lambda, [0.5, 1.0, 1.5]);
    // A meter whose volts rise with AFR, and a sensor that counts down as the plate opens.
    let falling = [[84.5, 0.0], [4.5, 100.0]];
    let (plate, lambda) = read(falling, [[0.0, 7.35], [5.0, 22.05]], Unit::Afr);
    assert_eq!(plate, [100.0, 0.0, 50.0]);
    for (lambda, expected) in lambda.iter().zip([0.5, 1.0, 1.5]) {
        assert!((lambda - expected).abs() < 1e-12, "{lambda}");
    }
}

/// Rows that a bus delivers in bunches would be taken as five readings of one moment and none for a
/// while, and speeds of change between them would be a bus's.
#[test]
fn bunched_rows_are_told_and_spread_on_request() {
    let mut text = "offset_s,rpm,plate_percent,lambda\n".to_owned();
    for row in 0..200 {
        let time_s = f64::from(row / 5) * 0.1 + f64::from(row % 5) * 0.000_2;
        writeln!(text, "{time_s:.4},{},20,0.9", 2000 + row).unwrap();
    }
    let plain = read_with(text.as_bytes(), &standard_channels()).unwrap();
    let codes = |intake: &Intake| -> Vec<String> {
        let warnings = intake.report.warnings.iter();
        warnings.map(|warning| warning.code.clone()).collect()
    };
    assert_eq!(codes(&plain), ["rows_bunched"]);
    assert_eq!(plain.report.clock.bunch_rows, Some(5.0));
    assert!((plain.samples.offset_s[4] - 0.0008).abs() < 1e-9);

    let map = altered(|map| map.time.repeated = RepeatedTime::Spread);
    let spread = read_with(text.as_bytes(), &map).unwrap();
    assert_eq!(codes(&spread), ["times_spread"]);
    for (row, offset_s) in spread.samples.offset_s.iter().enumerate() {
        assert!(
            (offset_s - row as f64 * 0.02).abs() < 1e-9,
            "row {row}: {offset_s}"
        );
    }

    // Jitter is none, nor is a pause.
    let mut even = "offset_s,rpm,plate_percent,lambda\n".to_owned();
    for row in 0..200 {
        let jitter_s = f64::from(row * 7 % 5) * 0.003;
        let pause_s = if row > 100 { 3.0 } else { 0.0 };
        let time_s = f64::from(row) * 0.02 + jitter_s + pause_s;
        writeln!(even, "{time_s:.4},{},20,0.9", 2000 + row).unwrap();
    }
    let even = read_with(even.as_bytes(), &standard_channels()).unwrap();
    assert_eq!(even.report.clock.bunch_rows, None);
}
