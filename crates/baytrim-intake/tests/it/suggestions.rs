//! Channel maps that are proposed for logs.
//!
//! The logs are of our own making, in the words of several languages. The real ones are those of
//! `road_logs`.

#![expect(clippy::print_stderr, reason = "a skipped test must be seen")]

mod bay;
mod flags;
mod languages;

use std::fmt::Write;
use std::fs::File;
use std::path::Path;

use baytrim_intake::{LogLimits, Suggestion, parse_channel_map, suggest};
use baytrim_model::channel::{EvidenceKind, Quantity, RepeatedTime, Unit};

use crate::support::{altered, plain, read_with};

/// A text with commas and a number here and there, which is no log.
const PROSE: &str = "Notes of the day, by the bench\nThe engine, as it came, ran rich\n\
    We set it, 3000, twice\nIt went well, lean, at once\nMore tomorrow, if it stays dry, or not\n\
    The fan, again, was loud\nNobody, it seems, had shut the door\nThe gas, then, came in\n\
    All went out, in haste, for air\nTwo of us, at least, felt it\nWe hung, since then, an alarm\n\
    It beeps, now and then, at dusk\nThe cat, so far, is well\nSo are we, thank you\n";

/// What is measured in one row of an invented pull.
struct Row {
    time_s: f64,
    rpm: f64,
    plate: f64,
    lambda: f64,
    coolant: f64,
    manifold_kpa: f64,
}

fn pull() -> impl Iterator<Item = Row> {
    (0..400).map(|index| {
        let time_s = f64::from(index) * 0.05;
        let plate =
            (30.0 + 35.0 * (time_s * 0.9).sin() + 10.0 * (time_s * 2.1).sin()).clamp(0.0, 100.0);
        Row {
            time_s,
            rpm: 3000.0 + 2000.0 * (time_s * 0.5).sin() + 11.0 * (time_s * 37.0).sin(),
            plate,
            lambda: 0.92 + 0.06 * time_s.sin() + 0.01 * (time_s * 41.0).sin(),
            coolant: 60.0 + time_s * 0.8,
            manifold_kpa: 25.0 + 0.72 * plate,
        }
    })
}

fn log(header: &str, row: impl Fn(&Row) -> String) -> String {
    let mut text = format!("{header}\n");
    for one in pull() {
        writeln!(text, "{}", row(&one)).unwrap();
    }
    text
}

/// Returns what is proposed for `text`, having checked that its file form is its map.
fn proposed(text: &str) -> Suggestion {
    let mut bytes = text.as_bytes();
    let suggestion = suggest(&mut bytes, "log.csv", &LogLimits::default())
        .unwrap_or_else(|error| panic!("{error}"));
    let parsed = parse_channel_map(&suggestion.toml);
    assert_eq!(parsed.ok(), suggestion.map, "{}", suggestion.toml);
    for channel in &suggestion.channels {
        assert!((0.0..1.0).contains(&channel.confidence), "{channel:?}");
    }
    suggestion
}

/// Returns column and unit proposed for a quantity.
fn channel(suggestion: &Suggestion, quantity: Quantity) -> (&str, Unit) {
    let found = suggestion
        .channels
        .iter()
        .find(|one| one.quantity == quantity);
    let channel = &found
        .unwrap_or_else(|| panic!("no {quantity}: {}", suggestion.toml))
        .channel;
    (channel.column.as_str(), channel.unit)
}

/// What stands for no reading, and a flag in words, would get the log refused.
#[test]
fn words_and_values_for_no_reading_are_found() {
    let text = log("t [s];rpm;tps;lambda;shift cut;gear", |row| {
        let Row {
            time_s,
            rpm,
            plate,
            lambda,
            ..
        } = row;
        let lambda = match time_s {
            time_s if *time_s < 1.0 => "---".to_owned(),
            time_s if *time_s < 2.0 => "99.999".to_owned(),
            _ => format!("{lambda:.3}"),
        };
        let cut = if (5.0..5.2).contains(time_s) {
            "on"
        } else {
            "off"
        };
        format!("{time_s:.2};{rpm:.0};{plate:.1};{lambda};{cut};3")
    });
    let found = proposed(&text);
    let lambda = &found.map.as_ref().unwrap().channels[&Quantity::Lambda];
    assert_eq!(lambda.no_reading, [99.999]);
    assert_eq!(lambda.no_reading_text, ["---"]);
    assert_eq!(
        channel(&found, Quantity::ShiftCut),
        ("shift cut", Unit::Flag)
    );
    assert_eq!(found.refusal, None);
    let samples = read_with(text.as_bytes(), found.map.as_ref().unwrap())
        .unwrap()
        .samples;
    let missing = samples
        .channel(Quantity::Lambda)
        .unwrap()
        .iter()
        .filter(|value| value.is_nan());
    assert_eq!(missing.count(), 40);
}

/// What a log cannot tell must be asked for by name, and never be made up as if it were known.
#[test]
fn what_the_log_does_not_tell_is_named() {
    let volts = log(
        "Time_s,EngineSpeed_rps,ThrottlePosition_V,Wideband_V",
        |row| {
            let Row {
                time_s,
                rpm,
                plate,
                lambda,
                ..
            } = row;
            format!(
                "{time_s:.2},{:.2},{:.3},{:.3}",
                rpm / 60.0,
                0.5 + 0.04 * plate,
                (lambda - 0.68) * 7.35
            )
        },
    );
    let found = proposed(&volts);
    assert_eq!(found.map, None);
    let about = |quantity| {
        let mut missing = found.missing.iter();
        missing
            .find(|missing| missing.quantity == Some(quantity))
            .map(|missing| missing.sentence.as_str())
    };
    assert!(
        about(Quantity::Lambda).unwrap().contains("two points"),
        "{:?}",
        found.missing
    );
    assert!(
        about(Quantity::PlateAngle)
            .unwrap()
            .contains("shut and wide open")
    );
    assert_eq!(channel(&found, Quantity::EngineSpeed).1, Unit::RevPerS);

    let switching = log(
        "time,rpm,throttle,O2 sensor (V),commanded equivalence ratio",
        |row| {
            let Row {
                time_s, rpm, plate, ..
            } = row;
            let volts = if (time_s * 8.0).sin() > 0.0 {
                0.85
            } else {
                0.08
            };
            format!("{time_s:.2},{rpm:.0},{plate:.1},{volts},1.0")
        },
    );
    let found = proposed(&switching);
    assert_eq!(found.map, None);
    assert!(
        found
            .missing
            .iter()
            .any(|missing| missing.sentence.contains("switching sensor"))
    );

    let no_clock = log("sample,rpm,throttle,lambda", |row| {
        let Row {
            time_s,
            rpm,
            plate,
            lambda,
            ..
        } = row;
        format!("{:.0},{rpm:.0},{plate:.1},{lambda:.3}", time_s * 20.0)
    });
    let found = proposed(&no_clock);
    assert_eq!((found.time, found.map), (None, None));
    assert!(
        found
            .missing
            .iter()
            .any(|missing| missing.sentence.contains("rate_hz"))
    );

    let nameless = log("a,b,c,d", |row| {
        let Row {
            time_s,
            rpm,
            plate,
            lambda,
            ..
        } = row;
        format!("{time_s:.2},{rpm:.0},{plate:.1},{lambda:.3}")
    });
    let found = proposed(&nameless);
    assert_eq!(channel(&found, Quantity::EngineSpeed).0, "b");
    assert_eq!(channel(&found, Quantity::Lambda).0, "d");
    assert!(
        found
            .channels
            .iter()
            .all(|channel| channel.confidence < 0.5),
        "{:?}",
        found.channels
    );
}

/// A channel that can be spared and does not fit would get the whole log refused.
#[test]
fn a_spare_channel_that_does_not_fit_is_left_out() {
    let text = log(
        "time,rpm,throttle,lambda,coolant temp (C),boost (kPa)",
        |row| {
            let Row {
                time_s,
                rpm,
                plate,
                lambda,
                manifold_kpa,
                ..
            } = row;
            let coolant = if (3.0..3.1).contains(time_s) {
                "655.35"
            } else {
                "80"
            };
            format!(
                "{time_s:.2},{rpm:.0},{plate:.1},{lambda:.3},{coolant},{:.1}",
                manifold_kpa - 101.3
            )
        },
    );
    let found = proposed(&text);
    assert_eq!(found.refusal, None);
    let boost = &found.map.as_ref().unwrap().channels[&Quantity::ManifoldPressure];
    assert!((boost.offset - 101.325).abs() < 1e-9);
    let is_read = read_with(text.as_bytes(), found.map.as_ref().unwrap()).is_ok();
    assert!(is_read);
    assert!(
        !found
            .channels
            .iter()
            .any(|one| one.quantity == Quantity::CoolantTemperature)
    );
    assert!(
        found.notes.iter().any(|note| note.contains("left out")),
        "{:?}",
        found.notes
    );
}

/// The project's own column names would get another map than the one that they have anyway.
#[test]
fn the_standard_columns_get_the_standard_map() {
    let found = proposed(&plain());
    let standard = altered(|map| {
        let needed = [
            Quantity::EngineSpeed,
            Quantity::PlateAngle,
            Quantity::Lambda,
        ];
        map.channels.retain(|quantity, _| needed.contains(quantity));
    });
    assert_eq!(found.map, Some(standard));
    assert!(found.missing.is_empty() && found.refusal.is_none());
}

/// A log that is no table of named columns must be told so, as it is when it is read.
#[test]
fn what_is_no_table_is_refused() {
    for (text, reason) in [
        ("", "LOG_EMPTY"),
        ("1,2,3\n4,5,6\n", "LOG_HEADER_MISSING"),
        ("Dear reader,\nthis is a letter.\n", "LOG_HEADER_MISSING"),
        ("\u{1}\u{2}\u{3}", "LOG_NOT_TEXT"),
        ("SQLite format 3\0", "LOG_FORMAT_UNSUPPORTED"),
        (PROSE, "LOG_UNSUITED"),
    ] {
        let error = suggest(&mut text.as_bytes(), "log.csv", &LogLimits::default()).unwrap_err();
        assert_eq!(error.reason(), reason, "{text:?}: {error}");
    }
}

/// A scan tool's log of trims, with coarse times and a throttle that counts from the end of its
/// travel, would need the example map written by hand.
#[test]
fn real_logs_get_a_map_that_reads_them() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    if !folder.is_dir() {
        eprintln!(
            "skipped: real_logs_get_a_map_that_reads_them: no {}",
            folder.display()
        );
        return;
    }
    let suggested = |file: &str| {
        let mut source = File::open(folder.join(file)).unwrap();
        suggest(&mut source, file, &LogLimits::default()).unwrap()
    };
    for file in ["long10", "live37", "live12", "drive10"] {
        let found = suggested(&format!("obd_road_1hz/{file}.csv"));
        let time = found.time.as_ref().unwrap();
        assert_eq!(
            time.time.column.as_deref(),
            Some("ENGINE_RUN_TINE ()"),
            "{file}"
        );
        assert_eq!(
            (time.time.unit, time.time.repeated),
            (Unit::S, RepeatedTime::Spread)
        );
        assert_eq!(found.evidence, EvidenceKind::Trims, "{file}");
        assert_eq!(
            channel(&found, Quantity::EngineSpeed),
            ("ENGINE_RPM ()", Unit::Rpm)
        );
        assert_eq!(
            channel(&found, Quantity::PlateAngle),
            ("THROTTLE ()", Unit::Percent)
        );
        let plate = &found.map.as_ref().unwrap().channels[&Quantity::PlateAngle];
        assert!(
            (-16.1..=-13.0).contains(&plate.offset),
            "{file}: {}",
            plate.offset
        );
        assert_eq!(found.refusal, None, "{file}");
        assert!(found.missing.is_empty(), "{file}: {:?}", found.missing);
    }
    let analyser = suggested("pems_afr_1hz/pems1.csv");
    assert_eq!(
        channel(&analyser, Quantity::EngineSpeed),
        ("revolution", Unit::Rpm)
    );
    assert_eq!(channel(&analyser, Quantity::Lambda), ("afr", Unit::Afr));
    let lambda = analyser
        .channels
        .iter()
        .find(|one| one.quantity == Quantity::Lambda);
    assert_eq!(lambda.unwrap().channel.no_reading, [199.94]);
    assert!(
        analyser
            .missing
            .iter()
            .any(|missing| missing.quantity == Some(Quantity::PlateAngle))
    );
}

/// A row without time, in a log whose times repeat, would keep the proposal busy for ever.
#[test]
fn a_row_without_time_ends_the_trial() {
    let rows = (0..60).map(|row| format!("{},2000,{}.5,0.9", row / 4, 10 + row % 7));
    let mut rows: Vec<String> = rows.collect();
    rows[30] = ",2000,10,0.9".to_owned();
    let found = proposed(&format!("time,rpm,throttle,lambda\n{}\n", rows.join("\n")));
    let refusal = found.refusal.unwrap();
    assert!(
        refusal.contains("row 32, column \"time\": is empty"),
        "{refusal}"
    );
}
