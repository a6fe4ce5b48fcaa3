//! Tables that leave the house.

use baytrim_jobs::export::{Form, Format, Quantity, Rows, render};
use baytrim_jobs::job_file::{self, Attachments};
use baytrim_jobs::verdict::Choice;
use baytrim_jobs::{JobState, verdict};

use crate::house::{ask, fold, proposed, record, several};

fn tuned() -> JobState {
    let mut records = proposed(&[(7, 3.5), (8, -2.0)]);
    let state = fold(&records);
    let event = verdict::approve(&state, &ask(&state, "good"), &Choice::whole(), &several())
        .expect("granted");
    records.push(record(event, "reviewer", None));
    fold(&records)
}

fn text(state: &JobState, format: Format, quantity: Quantity, rows: Rows) -> String {
    let form = Form {
        format,
        quantity,
        rows,
        decimals: None,
    };
    String::from_utf8(render(state, state.head(), form).content).expect("text")
}

/// If this fails, an exported table has other numbers, another orientation, or no cautions on it.
#[test]
fn csv_has_the_table_in_either_orientation() {
    let state = tuned();
    let by_plate = text(&state, Format::Csv, Quantity::Value, Rows::Plate);
    let lines: Vec<&str> = by_plate
        .lines()
        .filter(|line| !line.starts_with('#'))
        .collect();
    assert_eq!(lines[0], "plate_percent/rpm,1500,3000,4500,6000,7500,9000");
    assert_eq!(lines[2], "5,0,3.5,-2,0,0,0");
    let by_rpm = text(&state, Format::Csv, Quantity::Factor, Rows::Rpm);
    let lines: Vec<&str> = by_rpm
        .lines()
        .filter(|line| !line.starts_with('#'))
        .collect();
    assert_eq!(lines[0], "rpm/plate_percent,0,5,10,25,50,100");
    assert_eq!(lines[2], "3000,1,1.035,1,1,1,1");
    assert!(by_plate.contains("# job quoll-1, revision r1: table values"));
    assert!(by_plate.contains("carbon monoxide"));
}

/// If this fails, a table that Baytrim wrote can't open a Baytrim job.
#[test]
fn an_export_can_open_a_job() {
    let state = tuned();
    let csv = text(&state, Format::Csv, Quantity::Value, Rows::Plate);
    let example = job_file::EXAMPLE;
    let start = example.find("values = [").expect("inline table");
    let end = start + example[start..].find("\n]\n").expect("closed") + 3;
    let file = format!("{}file = \"t.csv\"\n{}", &example[..start], &example[end..]);
    let attachments = Attachments::from([("t.csv".to_owned(), csv.into_bytes())]);
    let spec = job_file::parse(&file, &attachments, None).expect("valid");
    assert_eq!(spec.table.values, state.head().values);
}

/// If this fails, a script that reads the JSON export gets other numbers than the CSV has.
#[test]
fn json_says_the_same() {
    let state = tuned();
    let json = text(&state, Format::Json, Quantity::Percent, Rows::Plate);
    let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(value["values"][1][1], 3.5);
    assert_eq!(value["revision"], "r1");
    assert_eq!(value["cautions"].as_array().map(Vec::len), Some(4));
}

/// If this fails, numbers change on their way into another editor by more than the decimals that were asked for.
#[test]
fn exported_numbers_are_the_stored_ones_within_the_decimals() {
    let state = tuned();
    let (axes, revision) = (&state.spec.axes, state.head());
    let trim = state.log_trim(revision);
    for (format, separator) in [(Format::Grid, '\t'), (Format::Csv, ',')] {
        for quantity in [Quantity::Value, Quantity::Percent, Quantity::Factor] {
            for rows in [Rows::Plate, Rows::Rpm] {
                for decimals in 0..=9u8 {
                    let form = Form {
                        format,
                        quantity,
                        rows,
                        decimals: Some(decimals),
                    };
                    let content = render(&state, revision, form).content;
                    let text = String::from_utf8(content).expect("text");
                    let lines = text.lines().filter(|line| !line.starts_with('#'));
                    // A table has one line of labels, and one label a line.
                    let labels = usize::from(format == Format::Csv);
                    let lines: Vec<_> = lines.skip(labels).collect();
                    for (down, line) in lines.iter().enumerate() {
                        for (across, cell) in line.split(separator).skip(labels).enumerate() {
                            let node = match rows {
                                Rows::Plate => axes.node(across, down),
                                Rows::Rpm => axes.node(down, across),
                            };
                            let stored = match quantity {
                                Quantity::Value => revision.values[node],
                                Quantity::Percent => trim[node].exp_m1() * 100.0,
                                Quantity::Factor => trim[node].exp(),
                            };
                            let digits = cell.split_once('.').map_or(0, |(_, digits)| digits.len());
                            assert_eq!(digits, usize::from(decimals), "{cell}");
                            let number: f64 = cell.parse().expect("a number");
                            let within = 0.5001 * 10f64.powi(-i32::from(decimals)) + 1e-12;
                            assert!((number - stored).abs() <= within, "{cell} for {stored}");
                        }
                    }
                    let cells: usize = lines
                        .iter()
                        .map(|line| line.split(separator).count() - labels)
                        .sum();
                    assert_eq!(cells, revision.values.len());
                }
            }
        }
    }
}

/// If this fails, the stamp of an export is not that of the table's numbers, or a table changes under the same stamp.
#[test]
fn exports_are_stamped_with_the_hash_of_the_values() {
    let state = tuned();
    let stamp = baytrim_jobs::export::values_sha256(state.head());
    assert_ne!(
        stamp,
        baytrim_jobs::export::values_sha256(&state.revisions[0])
    );
    for format in [Format::Csv, Format::Json] {
        assert!(text(&state, format, Quantity::Percent, Rows::Plate).contains(&stamp));
    }
}
