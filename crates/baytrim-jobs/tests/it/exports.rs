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
