//! What a spreadsheet program makes of a workbook, written by `tests/oracles/write_sheets.py`.

use baytrim_intake::report::TextEncoding;
use baytrim_intake::{LogLimits, suggest};
use baytrim_model::channel::{Quantity, Unit};

use crate::files::file;
use crate::support::read_with;

/// A tuner who keeps logs in a spreadsheet would have to mend each by hand: a title above the header,
/// units beneath it, decimal commas, points between thousands, remarks with a delimiter in them.
#[test]
fn sheets_saved_as_text_are_read_as_they_are() {
    for (name, delimiter, encoding) in [
        ("sheet_semicolon_1252.csv", ';', TextEncoding::Windows1252),
        ("sheet_tab_utf16.csv", '\t', TextEncoding::Utf16Le),
        ("sheet_quoted_utf8.csv", ',', TextEncoding::Utf8),
    ] {
        let bytes = file(name);
        let found = suggest(&mut bytes.as_slice(), name, &LogLimits::default()).unwrap();
        assert_eq!(found.refusal, None, "{name}");
        let map = found
            .map
            .unwrap_or_else(|| panic!("{name}: {}", found.toml));
        let coolant = &map.channels[&Quantity::CoolantTemperature];
        assert_eq!(
            (coolant.column.as_str(), coolant.unit),
            ("Kühlmittel", Unit::Celsius)
        );
        let intake = read_with(&bytes, &map).unwrap_or_else(|error| panic!("{name}: {error}"));
        let report = &intake.report;
        assert_eq!(
            (report.delimiter, report.encoding),
            (Some(delimiter), Some(encoding))
        );
        assert_eq!((report.header_row, report.unit_row), (2, Some(3)));
        assert_eq!(report.decimal_mark, Some(','));
        let samples = &intake.samples;
        assert_eq!(samples.len(), 60, "{name}");
        for (row, &offset_s) in samples.offset_s.iter().enumerate() {
            // To half of the last decimal that the cells show.
            let near = |quantity, expected: f64| {
                let value = samples.channel(quantity).unwrap()[row];
                assert!(
                    (value - expected).abs() < 5.1e-4,
                    "{name}, row {row}: {quantity} {value}"
                );
            };
            near(Quantity::EngineSpeed, 2000.0 + 300.0 * offset_s);
            near(Quantity::PlateAngle, 10.0 + 5.0 * offset_s);
            near(Quantity::Lambda, 0.85 + 0.02 * offset_s);
            near(Quantity::CoolantTemperature, 70.0 + 0.5 * offset_s);
        }
    }
}

/// If this fails, `2,015` of a sheet that sets thousands apart is an engine speed of two, its clock jumps back at
/// midnight, or a cut that is flagged in words goes unseen.
#[test]
fn a_sheet_with_thousands_set_apart_is_read() {
    let bytes = file("sheet_grouped.csv");
    let found = suggest(&mut bytes.as_slice(), "sheet", &LogLimits::default()).unwrap();
    assert_eq!(found.refusal, None);
    let map = found.map.unwrap_or_else(|| panic!("{}", found.toml));
    let intake = read_with(&bytes, &map).unwrap();
    assert_eq!(intake.report.decimal_mark, Some('.'));
    let samples = &intake.samples;
    assert_eq!(samples.len(), 60);
    for (row, &offset_s) in samples.offset_s.iter().enumerate() {
        assert!((offset_s - row as f64 / 20.0).abs() < 1e-9, "{offset_s}");
        let near = |quantity, expected: f64, tolerance| {
            let value = samples.channel(quantity).unwrap()[row];
            let is_near = (value - expected).abs() <= tolerance;
            assert!(is_near, "row {row}: {quantity} {value}, not {expected}");
        };
        near(Quantity::EngineSpeed, 2000.0 + 300.0 * offset_s, 0.5);
        near(Quantity::PlateAngle, 10.0 + 5.0 * offset_s, 1e-9);
        near(Quantity::Lambda, 0.85 + 0.02 * offset_s, 5.1e-4);
        let is_cut = (20..30).contains(&row);
        near(Quantity::FuelCut, f64::from(u8::from(is_cut)), 0.0);
    }
}

/// A workbook would be called no text, and its owner not told what to do.
#[test]
fn workbooks_are_told_what_to_be_saved_as() {
    for (name, what) in [
        ("sheet.xlsx", "a spreadsheet or another zip archive"),
        ("sheet.ods", "a spreadsheet or another zip archive"),
        ("sheet.xls", "an old office document"),
    ] {
        let error = suggest(&mut file(name).as_slice(), name, &LogLimits::default()).unwrap_err();
        assert_eq!(
            error.to_string(),
            format!(
                "{name}: is {what}, which is not read; export the log as CSV (in a spreadsheet: save as CSV or text) and send that"
            )
        );
    }
}
