//! A table in a form that leaves the house.

mod grip_table;

use std::fmt::Write as _;

use baytrim_model::record::JobEvent;
use baytrim_model::revision::{Revision, TableKind};
use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::propose::CAUTIONS;
use crate::refusal::Refusal;
use crate::state::JobState;

/// File formats.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Comma-separated values.
    Csv,
    /// JSON.
    Json,
    /// The numbers alone, separated by tabs, to be pasted into a grid.
    Grid,
}

/// What the numbers are turned into.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// The table's own values.
    Value,
    /// Fuel change from the base table in percent.
    Percent,
    /// Fuel factor on the base table.
    Factor,
}

/// Which axis runs down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rows {
    /// One row per plate angle.
    Plate,
    /// One row per engine speed.
    Rpm,
}

/// The form that a table leaves in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Form {
    /// File format.
    pub format: Format,
    /// What the numbers are turned into.
    pub quantity: Quantity,
    /// Which axis runs down.
    pub rows: Rows,
    /// Digits after the point; none: as many as there are, at the most those that a table shows.
    pub decimals: Option<u8>,
}

/// Most digits after the point: more than any table means.
pub const DECIMALS_MAX: u8 = 9;

/// A table in a form that leaves the house.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Export {
    /// The file's bytes.
    pub content: Vec<u8>,
    /// A name for the file.
    pub file_name: String,
    /// Its media type.
    pub media_type: &'static str,
    /// SHA-256 of the bytes, hexadecimal.
    pub sha256: String,
}

/// A table as JSON; what only one kind of table has is left out of the other's.
#[derive(Serialize)]
struct JsonTable<'a> {
    job: &'a str,
    title: &'a str,
    revision: String,
    revision_sha256: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    quantity: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mode: Option<&'a str>,
    content: &'a str,
    rows: &'static str,
    rpm: &'a [f64],
    #[serde(skip_serializing_if = "Option::is_none")]
    plate_percent: Option<&'a [f64]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    grip_percent: Option<&'a [f64]>,
    values: Vec<Vec<f64>>,
    cautions: [&'static str; 4],
}

impl<'a> JsonTable<'a> {
    /// Returns what every table says.
    fn of(state: &'a JobState, revision: &Revision, values: Vec<Vec<f64>>) -> Self {
        Self {
            job: state.id().as_str(),
            title: &state.spec.title,
            revision: revision.id.to_string(),
            revision_sha256: values_sha256(revision),
            quantity: None,
            mode: None,
            content: "",
            rows: "",
            rpm: &[],
            plate_percent: None,
            grip_percent: None,
            values,
            cautions: cautions(revision),
        }
    }

    fn bytes(&self) -> Vec<u8> {
        let mut bytes = serde_json::to_vec_pretty(self).expect("a table holds only finite numbers");
        bytes.push(b'\n');
        bytes
    }
}

/// Returns `revision` in `form`. The same revision in the same form gives the same bytes.
pub fn render(state: &JobState, revision: &Revision, form: Form) -> Export {
    let mode = revision.table.mode();
    let grip_table = mode.and_then(|mode| Some((mode, state.spec.grip.get(mode)?)));
    let content = match (grip_table, form.format) {
        (Some(table), _) => grip_table::content(state, revision, table, form),
        (None, Format::Csv) => {
            csv(state, revision, form, &grid(state, revision, form)).into_bytes()
        }
        (None, Format::Json) => json(state, revision, form, grid(state, revision, form)),
        (None, Format::Grid) => lines(&grid(state, revision, form), form, "\t").into_bytes(),
    };
    let (extension, media_type) = match form.format {
        Format::Csv => ("csv", "text/csv"),
        Format::Json => ("json", "application/json"),
        Format::Grid => ("tsv", "text/tab-separated-values"),
    };
    let what = match mode {
        Some(mode) => format!("grip-{mode}"),
        None => form.quantity.as_str().to_owned(),
    };
    Export {
        file_name: format!("{}-{}-{what}.{extension}", state.id(), revision.id),
        media_type,
        sha256: hex(&Sha256::digest(&content)),
        content,
    }
}

/// Checks that a revision can leave in `form`.
///
/// # Errors
/// When a grip table is to leave as a fuel change.
pub fn check_form(revision: &Revision, form: Form) -> Result<(), Refusal> {
    if revision.table.is_fuel() || form.quantity == Quantity::Value {
        return Ok(());
    }
    Err(Refusal::field(
        "quantity",
        "a grip table holds plate in percent, no fuel change",
        "ask for its own values",
    ))
}

/// Returns the cautions that go with a revision.
pub fn cautions(revision: &Revision) -> [&'static str; 4] {
    match revision.table {
        TableKind::Fuel => CAUTIONS,
        TableKind::Grip { .. } => crate::grip::CAUTIONS,
    }
}

/// Returns the event that records an export.
pub fn event(revision: &Revision, form: Form, export: &Export) -> JobEvent {
    JobEvent::TableExported {
        revision: revision.id,
        form: describe(form),
        content_sha256: export.sha256.clone(),
    }
}

/// Returns the form as the record says it.
fn describe(form: Form) -> String {
    let decimals = form
        .decimals
        .map(|decimals| format!(", decimals = {decimals}"));
    format!(
        "{} {}, rows = {}{}",
        form.format.as_str(),
        form.quantity.as_str(),
        form.rows.as_str(),
        decimals.unwrap_or_default()
    )
}

/// Returns the hash that stamps a revision's values: SHA-256 over them in node order, each as the eight
/// little-endian bytes of its IEEE 754 double.
pub fn values_sha256(revision: &Revision) -> String {
    let mut hasher = Sha256::new();
    for value in &revision.values {
        hasher.update(value.to_le_bytes());
    }
    hex(&hasher.finalize())
}

/// The numbers as they leave: rows of columns.
fn grid(state: &JobState, revision: &Revision, form: Form) -> Vec<Vec<f64>> {
    let axes = &state.spec.axes;
    let trim = state.log_trim(revision);
    let number = |rpm_index: usize, plate_index: usize| {
        let node = axes.node(rpm_index, plate_index);
        match form.quantity {
            Quantity::Value => tidy(revision.values[node], form.decimals.unwrap_or(6)),
            Quantity::Percent => tidy(trim[node].exp_m1() * 100.0, form.decimals.unwrap_or(3)),
            Quantity::Factor => tidy(trim[node].exp(), form.decimals.unwrap_or(5)),
        }
    };
    let (speeds, plates) = (0..axes.rpm.len(), 0..axes.plate_percent.len());
    match form.rows {
        Rows::Plate => plates
            .map(|plate| speeds.clone().map(|rpm| number(rpm, plate)).collect())
            .collect(),
        Rows::Rpm => speeds
            .map(|rpm| plates.clone().map(|plate| number(rpm, plate)).collect())
            .collect(),
    }
}

/// Rounds to `decimals`: what a table shows, without the dust of binary fractions.
fn tidy(value: f64, decimals: u8) -> f64 {
    let scale = 10f64.powi(i32::from(decimals));
    // Adding zero turns a negative zero into a plain one.
    (value * scale).round() / scale + 0.0
}

fn csv(state: &JobState, revision: &Revision, form: Form, grid: &[Vec<f64>]) -> String {
    let axes = &state.spec.axes;
    let (rpm, plate) = (axes.rpm.breakpoints(), axes.plate_percent.breakpoints());
    let (corner, across, down) = match form.rows {
        Rows::Plate => ("plate_percent/rpm", rpm, plate),
        Rows::Rpm => ("rpm/plate_percent", plate, rpm),
    };
    let mut text = String::new();
    let quantity = form.quantity.sentence();
    let _ = writeln!(
        text,
        "# job {}, revision {}: {quantity}",
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
    text.push_str(corner);
    for value in across {
        let _ = write!(text, ",{value}");
    }
    text.push('\n');
    for (label, row) in down.iter().zip(grid) {
        let _ = writeln!(text, "{label},{}", line(row, form, ","));
    }
    text
}

/// Returns the rows of numbers alone.
fn lines(grid: &[Vec<f64>], form: Form, separator: &str) -> String {
    let rows = grid.iter().map(|row| line(row, form, separator) + "\n");
    rows.collect()
}

fn line(row: &[f64], form: Form, separator: &str) -> String {
    let numbers: Vec<_> = row
        .iter()
        .map(|value| match form.decimals {
            Some(decimals) => format!("{value:.*}", usize::from(decimals)),
            None => value.to_string(),
        })
        .collect();
    numbers.join(separator)
}

fn json(state: &JobState, revision: &Revision, form: Form, values: Vec<Vec<f64>>) -> Vec<u8> {
    let table = JsonTable {
        quantity: Some(form.quantity.as_str()),
        content: state.spec.table.content.as_str(),
        rows: form.rows.as_str(),
        rpm: state.spec.axes.rpm.breakpoints(),
        plate_percent: Some(state.spec.axes.plate_percent.breakpoints()),
        ..JsonTable::of(state, revision, values)
    };
    table.bytes()
}

/// Returns bytes as lower-case hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

impl Format {
    /// Returns the name as the record writes it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Json => "json",
            Self::Grid => "grid",
        }
    }
}

impl Quantity {
    /// Returns the name as files write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Value => "value",
            Self::Percent => "percent",
            Self::Factor => "factor",
        }
    }

    fn sentence(self) -> &'static str {
        match self {
            Self::Value => "table values",
            Self::Percent => "fuel change from the base table in percent",
            Self::Factor => "fuel factor on the base table",
        }
    }
}

impl Rows {
    /// Returns the name as files write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Plate => "plate",
            Self::Rpm => "rpm",
        }
    }
}
