//! The same log in the notations that logs come in.

use std::fmt::Write;

use baytrim_intake::report::{Compression, TextEncoding};
use baytrim_model::channel::{Quantity, RepeatedTime, Unit};

use crate::support::{altered, channel, gzip, plain, read, read_with, with_unit, zstd};

/// Reads `bytes` and expects the numbers of the plain log.
fn expect_plain(bytes: &[u8], what: &str) -> baytrim_intake::IntakeReport {
    let expected = read(plain().as_bytes()).unwrap();
    let intake = read(bytes).unwrap_or_else(|error| panic!("{what}: {error}"));
    assert_eq!(intake.samples, expected.samples, "{what}");
    intake.report
}

/// A log from a spreadsheet in another country would be refused, or read as other numbers.
#[test]
fn each_notation_gives_the_same_samples() {
    let plain = plain();
    let report = expect_plain(plain.as_bytes(), "plain");
    assert_eq!(
        (report.delimiter, report.decimal_mark),
        (Some(','), Some('.'))
    );
    assert_eq!((report.header_row, report.row_count), (1, 20));
    assert_eq!(report.byte_count, plain.len() as u64);
    let semicolons = plain.replace(',', ";").replace('.', ",");
    let report = expect_plain(semicolons.as_bytes(), "semicolons and decimal commas");
    assert_eq!(
        (report.delimiter, report.decimal_mark),
        (Some(';'), Some(','))
    );
    let report = expect_plain(plain.replace(',', "\t").as_bytes(), "tabs");
    assert_eq!(report.delimiter, Some('\t'));
    expect_plain(
        plain.replace('\n', "\r\n").as_bytes(),
        "carriage returns and line feeds",
    );
    expect_plain(
        plain.replace('\n', "\r").as_bytes(),
        "carriage returns alone",
    );
    expect_plain(plain.trim_end().as_bytes(), "no line end at the end");
    expect_plain(
        plain.replace('\n', ",\n").as_bytes(),
        "a delimiter at the end of each row",
    );
    expect_plain(plain.replace(',', " , ").as_bytes(), "spaces around cells");
    let cells = plain.replace(',', "\",\"").replace('.', ",");
    let quoted: Vec<String> = cells.lines().map(|line| format!("\"{line}\"")).collect();
    let quoted = quoted.join("\n");
    expect_plain(quoted.as_bytes(), "quoted decimal commas between commas");
    let report = expect_plain(&gzip(plain.as_bytes()), "gzip");
    assert_eq!(report.compression, Compression::Gzip);
    let (first, second) = plain.split_at(100);
    let members = [gzip(first.as_bytes()), gzip(second.as_bytes())].concat();
    expect_plain(&members, "gzip in two members");
    let report = expect_plain(&zstd(plain.as_bytes()), "zstd");
    assert_eq!(report.compression, Compression::Zstd);
    let skipped = [0x53, 0x2a, 0x4d, 0x18, 3, 0, 0, 0, 7, 7, 7];
    let frames = [
        &skipped[..],
        &zstd(first.as_bytes()),
        &skipped,
        &zstd(second.as_bytes()),
    ];
    expect_plain(
        &frames.concat(),
        "zstd in two frames, with others to be skipped",
    );
}

/// A spreadsheet's own text format, or a header with a degree sign, would be refused as binary.
#[test]
fn each_encoding_gives_the_same_samples() {
    let plain = plain();
    let text = format!("Prüfstand 3, 21 °C\n{plain}");
    let report = expect_plain(format!("\u{feff}{plain}").as_bytes(), "UTF-8 with a mark");
    assert_eq!(report.encoding, Some(TextEncoding::Utf8));
    let latin: Vec<u8> = text
        .chars()
        .map(|letter| u8::try_from(u32::from(letter)).unwrap())
        .collect();
    let report = expect_plain(&latin, "Latin-1");
    assert_eq!(report.encoding, Some(TextEncoding::Windows1252));
    for mark in ["", "\u{feff}"] {
        let text = format!("{mark}{text}");
        let low: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let report = expect_plain(&low, "UTF-16, low byte first");
        assert_eq!(report.encoding, Some(TextEncoding::Utf16Le));
        let high: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        let report = expect_plain(&high, "UTF-16, high byte first");
        assert_eq!(report.encoding, Some(TextEncoding::Utf16Be));
        expect_plain(&gzip(&low), "UTF-16 inside gzip");
    }
}

/// A header of two languages' letters must be found under its name whatever the encoding.
#[test]
fn a_header_outside_ascii_is_found_in_each_encoding() {
    let map = altered(|map| channel(map, Quantity::PlateAngle).column = "Klappe °".to_owned());
    let text = plain().replace("plate_percent", "Klappe °");
    let latin: Vec<u8> = text
        .chars()
        .map(|letter| u8::try_from(u32::from(letter)).unwrap())
        .collect();
    let expected = read_with(text.as_bytes(), &map).unwrap();
    assert_eq!(read_with(&latin, &map).unwrap().samples, expected.samples);
}

/// What loggers write around their table would be taken for the table, or the table refused.
#[test]
fn what_stands_around_the_table_is_passed_over() {
    let plain = plain();
    let titled = format!("sep=,\nBay 2, \"north, run 3\n\n# operator: R. Vale\n{plain}");
    let report = expect_plain(titled.as_bytes(), "lines above the header");
    assert_eq!(report.header_row, 5);
    let with_units = plain.replacen('\n', "\n s,1/min,%,1\n", 1);
    let report = expect_plain(with_units.as_bytes(), "units beneath the header");
    assert_eq!(report.unit_row, Some(2));
    let hash = format!("# {plain}");
    expect_plain(hash.as_bytes(), "a header marked as a remark");
    let remarks = plain.replacen("\n0.5", "\n\n# lap 2\n,,,\n0.5", 1);
    let report = expect_plain(remarks.as_bytes(), "remarks and empty rows");
    assert_eq!(report.passed_over_count, 2);
    let cut = format!("{plain}2.0,30");
    let report = expect_plain(cut.as_bytes(), "a last row cut short");
    assert_eq!(report.cut_row, Some(22));
    assert_eq!(report.warnings[0].code, "cut_row");
    let zeros = format!("{plain}2.0,30{}", "\0".repeat(600));
    let report = expect_plain(zeros.as_bytes(), "zeros after a power failure");
    assert_eq!(report.cut_row, Some(22));
    expect_plain(
        format!("{plain}\x1a").as_bytes(),
        "the end mark of old systems",
    );
}

/// Columns that are not used must be named, missing readings counted and kept as NaN.
#[test]
fn the_report_says_what_was_made_of_the_log() {
    let text = "gear,offset_s,rpm,plate_percent,lambda,fuel_cut,\n\
        1,10.0,2000,10,0.9,off\n2,10.1,,11,-1,ON\n3,10.2,2200,12,---,0,\n3,11.9,2300,12,0.95,1,\n";
    let map = altered(|map| {
        let lambda = channel(map, Quantity::Lambda);
        lambda.no_reading = vec![-1.0];
        lambda.no_reading_text = vec!["---".to_owned()];
    });
    let intake = read_with(text.as_bytes(), &map).unwrap();
    let column = |quantity| intake.samples.channel(quantity).unwrap();
    let expected_s = [0.0, 0.1, 0.2, 1.9];
    for (offset_s, expected_s) in intake.samples.offset_s.iter().zip(expected_s) {
        assert!((offset_s - expected_s).abs() < 1e-9, "{offset_s} s");
    }
    assert!(column(Quantity::EngineSpeed)[1].is_nan());
    assert!(column(Quantity::Lambda)[1].is_nan() && column(Quantity::Lambda)[2].is_nan());
    assert_eq!(column(Quantity::FuelCut), [0.0, 1.0, 0.0, 1.0]);
    let missing = |quantity| intake.report.channels[&quantity].missing_count;
    assert_eq!(
        (missing(Quantity::EngineSpeed), missing(Quantity::Lambda)),
        (1, 2)
    );
    assert_eq!(intake.report.unused_columns, ["gear"]);
    assert!((intake.report.clock.median_rate_hz - 10.0).abs() < 1e-6);
    assert_eq!(intake.report.clock.gap_sample, 2);
    assert!((intake.report.clock.gap_s_max - 1.7).abs() < 1e-9);
    assert_eq!(intake.report.warnings[0].code, "gap");
    let lambda = &intake.report.channels[&Quantity::Lambda];
    assert_eq!((lambda.low, lambda.high), (Some(0.9), Some(0.95)));
}

/// Each unit of a column must come out in that of samples, with scale and offset before it.
#[test]
fn columns_come_out_in_the_units_of_samples() {
    let text = "offset_s,rpm,plate_percent,lambda\n0,50,0.25,14.7\n0.1,60,0.5,13.23\n";
    let mut map = with_unit(Quantity::EngineSpeed, Unit::RevPerS);
    channel(&mut map, Quantity::PlateAngle).unit = Unit::Ratio;
    channel(&mut map, Quantity::PlateAngle).scale = 2.0;
    channel(&mut map, Quantity::PlateAngle).offset = -0.1;
    channel(&mut map, Quantity::Lambda).unit = Unit::Afr;
    let samples = read_with(text.as_bytes(), &map).unwrap().samples;
    let near = |quantity, expected: [f64; 2]| {
        let values = samples.channel(quantity).unwrap();
        for (value, expected) in values.iter().zip(expected) {
            assert!((value - expected).abs() < 1e-9, "{quantity} is {value}");
        }
    };
    near(Quantity::EngineSpeed, [3000.0, 3600.0]);
    near(Quantity::PlateAngle, [40.0, 90.0]);
    near(Quantity::Lambda, [1.0, 0.9]);
}

/// A clock in whole seconds would make rows collide, or be spread into a gap of the log.
#[test]
fn repeated_times_are_spread_until_the_next_tick() {
    let map = altered(|map| map.time.repeated = RepeatedTime::Spread);
    let times = [3, 3, 3, 3, 4, 4, 6, 6, 7, 60, 60, 61];
    let mut text = "offset_s,rpm,plate_percent,lambda\n".to_owned();
    for time in times {
        writeln!(text, "{time},2000,10,0.9").unwrap();
    }
    let intake = read_with(text.as_bytes(), &map).unwrap();
    let expected_s = [
        0.0, 0.25, 0.5, 0.75, 1.0, 2.0, 3.0, 3.5, 4.0, 57.0, 57.5, 58.0,
    ];
    assert_eq!(intake.samples.offset_s, expected_s);
    assert_eq!(intake.report.clock.repeated_count, 6);
    assert_eq!(intake.report.warnings[0].code, "times_spread");
}

/// A log without a time column must get its times from the row numbers.
#[test]
fn a_steady_rate_stands_in_for_a_time_column() {
    let map = altered(|map| {
        map.time.column = None;
        map.time.rate_hz = Some(20.0);
    });
    let text = "rpm,plate_percent,lambda\n2000,10,0.9\n2100,10,0.9\n2200,10,0.9\n";
    let intake = read_with(text.as_bytes(), &map).unwrap();
    assert_eq!(intake.samples.offset_s, [0.0, 0.05, 0.1]);
}

/// A factor around 1 read as percent would make every trim all but vanish without a word.
#[test]
fn a_trim_that_looks_like_a_factor_is_remarked_upon() {
    let mut text = "offset_s,rpm,plate_percent,lambda,short_term_trim_percent\n".to_owned();
    for row in 0..20 {
        writeln!(text, "{row},2000,10,0.9,1.{row:02}").unwrap();
    }
    let warnings = read(text.as_bytes()).unwrap().report.warnings;
    assert!(
        warnings.iter().any(|warning| warning.code == "trim_unit"),
        "{warnings:?}"
    );
}
