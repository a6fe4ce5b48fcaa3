//! A grip table in a form that leaves the house.

use std::fmt::Write as _;

use baytrim_model::grip::GripTableSpec;
use baytrim_model::ids::ModeName;
use baytrim_model::revision::Revision;

use super::{Form, Format, JsonTable, Rows, line, lines, tidy, values_sha256};
use crate::grip::CAUTIONS;
use crate::state::JobState;

/// Returns the bytes of a revision of the grip table of `mode`, plate in percent: one row per engine speed where the
/// form asks for rows of engine speeds, else one per grip.
pub(super) fn content(
    state: &JobState,
    revision: &Revision,
    (mode, spec): (&ModeName, &GripTableSpec),
    form: Form,
) -> Vec<u8> {
    let columns = spec.grip_percent.len();
    let number = |value: &f64| tidy(*value, form.decimals.unwrap_or(6));
    let by_speed: Vec<Vec<f64>> = revision
        .values
        .chunks(columns)
        .map(|row| row.iter().map(number).collect())
        .collect();
    let grid = match form.rows {
        Rows::Rpm => by_speed,
        Rows::Plate => (0..columns)
            .map(|column| by_speed.iter().map(|row| row[column]).collect())
            .collect(),
    };
    match form.format {
        Format::Grid => lines(&grid, form, "\t").into_bytes(),
        Format::Csv => csv(state, revision, (mode, spec), form, &grid).into_bytes(),
        Format::Json => {
            let table = JsonTable {
                mode: Some(mode.as_str()),
                content: "plate_percent",
                rows: match form.rows {
                    Rows::Plate => "grip",
                    Rows::Rpm => "rpm",
                },
                rpm: &spec.rpm,
                grip_percent: Some(&spec.grip_percent),
                ..JsonTable::of(state, revision, grid)
            };
            table.bytes()
        }
    }
}

fn csv(
    state: &JobState,
    revision: &Revision,
    (mode, spec): (&ModeName, &GripTableSpec),
    form: Form,
    grid: &[Vec<f64>],
) -> String {
    let words = |axis: &[f64]| axis.iter().map(ToString::to_string).collect::<Vec<_>>();
    let speeds = match spec.rpm.as_slice() {
        [] => vec!["all".to_owned()],
        speeds => words(speeds),
    };
    let grips = words(&spec.grip_percent);
    let (corner, across, down) = match form.rows {
        Rows::Plate => ("grip_percent/rpm", speeds, grips),
        Rows::Rpm => ("rpm/grip_percent", grips, speeds),
    };
    let mut text = String::new();
    let _ = writeln!(
        text,
        "# job {}, revision {}: plate in percent by grip, riding mode {mode}",
        state.id(),
        revision.id
    );
    let _ = writeln!(
        text,
        "# SHA-256 of the revision's values: {}",
        values_sha256(revision)
    );
    for caution in CAUTIONS {
        let _ = writeln!(text, "# {caution}");
    }
    let _ = writeln!(text, "{corner},{}", across.join(","));
    for (label, row) in down.iter().zip(grid) {
        let _ = writeln!(text, "{label},{}", line(row, form, ","));
    }
    text
}
