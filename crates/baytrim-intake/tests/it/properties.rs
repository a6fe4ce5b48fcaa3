//! What holds for every log.

use std::fmt::Write;

use baytrim_intake::{LogLimits, parse_channel_map, standard_channels};
use baytrim_model::channel::{Quantity, RepeatedTime};
use proptest::prelude::*;

use crate::support::{altered, gzip, plain, read, read_source, read_with, zstd};

/// One row: step to the next in seconds, rpm, plate, lambda or none.
type Row = (f64, f64, f64, Option<f64>);

fn row() -> impl Strategy<Value = Row> {
    (
        0.001..0.4_f64,
        500.0..12_000.0_f64,
        0.0..100.0_f64,
        proptest::option::weighted(0.9, 0.65..1.8_f64),
    )
}

/// How a log is written.
#[derive(Debug, Clone)]
#[expect(clippy::struct_excessive_bools, reason = "each is a habit of its own")]
struct Dialect {
    delimiter: char,
    decimal_mark: char,
    line_end: &'static str,
    has_quotes: bool,
    has_trailing_delimiter: bool,
    has_units: bool,
    has_title: bool,
    packing: u8,
}

fn dialect() -> impl Strategy<Value = Dialect> {
    (
        prop::sample::select(vec![
            (',', '.'),
            (';', '.'),
            (';', ','),
            ('\t', '.'),
            ('\t', ','),
        ]),
        prop::sample::select(vec!["\n", "\r\n", "\r"]),
        any::<[bool; 4]>(),
        0..4_u8,
    )
        .prop_map(
            |((delimiter, decimal_mark), line_end, flags, packing)| Dialect {
                delimiter,
                decimal_mark,
                line_end,
                has_quotes: flags[0],
                has_trailing_delimiter: flags[1],
                has_units: flags[2],
                has_title: flags[3],
                packing,
            },
        )
}

impl Dialect {
    fn line(&self, text: &mut String, cells: &[String]) {
        let quote = if self.has_quotes { "\"" } else { "" };
        for (index, cell) in cells.iter().enumerate() {
            if index > 0 {
                text.push(self.delimiter);
            }
            write!(text, "{quote}{cell}{quote}").unwrap();
        }
        if self.has_trailing_delimiter {
            text.push(self.delimiter);
        }
        text.push_str(self.line_end);
    }

    fn write(&self, rows: &[Row]) -> Vec<u8> {
        let words = |words: [&str; 4]| words.map(ToOwned::to_owned);
        let number = |value: f64| {
            value
                .to_string()
                .replace('.', &self.decimal_mark.to_string())
        };
        let mut text = String::new();
        if self.has_title {
            write!(
                text,
                "Prüfstand; \"Lauf, 3{}{}",
                self.line_end, self.line_end
            )
            .unwrap();
        }
        self.line(
            &mut text,
            &words(["lambda", "offset_s", "rpm", "plate_percent"]),
        );
        if self.has_units {
            self.line(&mut text, &words(["-", "s", "1/min", "%"]));
        }
        let mut time_s = 0.0;
        for &(step_s, rpm, plate, lambda) in rows {
            let lambda = lambda.map(number).unwrap_or_default();
            self.line(
                &mut text,
                &[lambda, number(time_s), number(rpm), number(plate)],
            );
            time_s += step_s;
        }
        match self.packing {
            0 => text.into_bytes(),
            1 => gzip(text.as_bytes()),
            2 => format!("\u{feff}{text}")
                .encode_utf16()
                .flat_map(u16::to_le_bytes)
                .collect(),
            _ => text
                .chars()
                .map(|letter| u8::try_from(u32::from(letter)).unwrap())
                .collect(),
        }
    }
}

fn same(found: &[f64], expected: impl Iterator<Item = f64>) -> bool {
    let expected: Vec<f64> = expected.collect();
    let bits = |values: &[f64]| {
        values
            .iter()
            .map(|value| value.to_bits())
            .collect::<Vec<_>>()
    };
    bits(found) == bits(&expected)
}

proptest! {
    /// A log in some dialect would come out as other numbers than were written.
    #[test]
    fn samples_survive_every_dialect(
        rows in prop::collection::vec(row(), 1..60),
        dialect in dialect(),
    ) {
        // With no lambda at all the log is rightly refused.
        prop_assume!(rows.iter().any(|row| row.3.is_some()));
        // A plate that stays below one percent is rightly doubted.
        prop_assume!(rows.iter().any(|row| row.2 > 1.1));
        let samples = read(&dialect.write(&rows)).unwrap().samples;
        let column = |quantity| samples.channel(quantity).unwrap();
        let times = rows.iter().scan(0.0, |time_s, row| {
            let now_s = *time_s;
            *time_s += row.0;
            Some(now_s)
        });
        prop_assert!(same(&samples.offset_s, times));
        prop_assert!(same(column(Quantity::EngineSpeed), rows.iter().map(|row| row.1)));
        prop_assert!(same(column(Quantity::PlateAngle), rows.iter().map(|row| row.2)));
        prop_assert!(same(
            column(Quantity::Lambda),
            rows.iter().map(|row| row.3.unwrap_or(f64::NAN)),
        ));
    }

    /// A file of any bytes would bring the daemon down.
    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
        let _ = read(&bytes);
        let _ = read(&gzip(&bytes));
        let _ = read(&zstd(&bytes));
        let _ = read(&[&[0x28, 0xb5, 0x2f, 0xfd], &bytes[..]].concat());
        let _ = parse_channel_map(&String::from_utf8_lossy(&bytes));
    }

    /// A good log with some bytes changed would bring the daemon down, or get in with values that
    /// no engine has.
    #[test]
    fn changed_bytes_are_refused_or_believable(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
        packing in 0..3_u8,
    ) {
        let bytes = plain().into_bytes();
        let mut bytes = match packing {
            0 => bytes,
            1 => gzip(&bytes),
            _ => zstd(&bytes),
        };
        for (index, byte) in changes {
            let index = index.index(bytes.len());
            bytes[index] = byte;
        }
        if let Ok(intake) = read(&bytes) {
            check(&intake.samples)?;
        }
    }

    /// Rows made of the pieces of logs would bring the daemon down.
    #[test]
    fn pieces_of_logs_never_panic(
        pieces in prop::collection::vec(
            prop::sample::select(vec![
                "offset_s", "rpm", "plate_percent", "lambda", ",", ",", ",", ";", "\t", "\n", "\n",
                "\r", "\"", "#", "0", "1", "2000", "0.9", "0,9", "-", ".", "NaN", "1e9", "1e-320",
                "on", "\u{1a}", " ", "é",
            ]),
            0..200,
        ),
        has_header in any::<bool>(),
    ) {
        let header = if has_header { "offset_s,rpm,plate_percent,lambda\n" } else { "" };
        let text = format!("{header}{}", pieces.concat());
        if let Ok(intake) = read(text.as_bytes()) {
            check(&intake.samples)?;
        }
    }

    /// Offsets that stand still or go back would divide by zero further on.
    #[test]
    fn spread_offsets_always_increase(
        steps in prop::collection::vec(
            prop::sample::select(vec![0.0, 0.0, 0.0, 1e-7, 1e-6, 0.001, 0.1, 1.0, 2.0, 7.0, 3600.0]),
            1..200,
        ),
        start in prop::sample::select(vec![0.0, 1.0, 1e6, 1.7e9]),
    ) {
        let map = altered(|map| map.time.repeated = RepeatedTime::Spread);
        let mut text = "offset_s,rpm,plate_percent,lambda\n".to_owned();
        let mut time_s = start;
        for step_s in steps {
            time_s += step_s;
            writeln!(text, "{time_s},2000,10,0.9").unwrap();
        }
        match read_with(text.as_bytes(), &map) {
            Ok(intake) => check(&intake.samples)?,
            Err(error) => prop_assert!(
                ["LOG_CLOCK_STUCK", "LOG_UNIT_DOUBTFUL"].contains(&error.reason()),
                "{error}"
            ),
        }
    }

    /// A truncated packed log would pass for a whole one.
    #[test]
    fn a_cut_packing_is_never_taken_for_whole(cut in any::<prop::sample::Index>()) {
        for packed in [gzip(plain().as_bytes()), zstd(plain().as_bytes())] {
            let cut = cut.index(packed.len());
            let limits = LogLimits::default();
            prop_assert!(read_source(&mut &packed[..cut], &standard_channels(), &limits).is_err());
        }
    }
}

fn check(samples: &baytrim_model::samples::Samples) -> Result<(), TestCaseError> {
    prop_assert!(samples.offset_s.first() == Some(&0.0));
    prop_assert!(samples.offset_s.windows(2).all(|pair| pair[0] < pair[1]));
    for (quantity, values) in &samples.channels {
        let (low, high) = quantity.believable();
        prop_assert_eq!(values.len(), samples.len());
        let is_believable = |value: &f64| value.is_nan() || (low..=high).contains(value);
        prop_assert!(values.iter().all(is_believable), "{}", quantity);
    }
    Ok(())
}
