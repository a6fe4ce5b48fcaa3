//! Makes samples of whole columns of numbers, as formats for measurements and for tables hold them.

use baytrim_model::channel::{Channel, ChannelMap};
use baytrim_model::pull::PullWarning;

use crate::assemble::Assembler;
use crate::error::IntakeError;
use crate::place::CellPlace;
use crate::read::LogJob;
use crate::report::{Alignment, Intake, IntakeReport, LogFormat};
use crate::wanted::{check_evidence, column_missing, has, wanted};

/// A column that was fetched: numbers with NaN for no reading, one per time.
pub(crate) struct Fetched {
    pub values: Vec<f64>,
    pub alignment: Alignment,
}

/// A log of whole columns.
pub(crate) struct ColumnLog<'a> {
    pub format: LogFormat,
    /// The names of all columns.
    pub names: Vec<String>,
    /// The times, in the unit of the map; none where rows come at a steady rate.
    pub times: Option<Vec<f64>>,
    /// Rows, where there are no times.
    pub row_count: usize,
    /// The map that the log is read with.
    pub map: &'a ChannelMap,
}

/// Complains of the first column that `map` needs and `names` lack.
pub(crate) fn check_names(
    names: &[String],
    map: &ChannelMap,
    source_name: &str,
) -> Result<(), IntakeError> {
    for wanted in wanted(map) {
        if !has(names, wanted.column) {
            let wanted_for = &wanted.wanted_for;
            return Err(column_missing(
                names,
                0,
                wanted.column,
                wanted_for,
                source_name,
            ));
        }
    }
    check_evidence(names, 0, map, source_name)
}

/// Makes samples of `log`, each of whose columns `fetch` hands over. Rows count from 1 in messages.
pub(crate) fn assemble_columns(
    job: &LogJob<'_>,
    log: &ColumnLog<'_>,
    mut fetch: impl FnMut(&Channel) -> Result<Fetched, IntakeError>,
) -> Result<Intake, IntakeError> {
    let present = |channel: &Channel| has(&log.names, &channel.column);
    let mut assembler = Assembler::new(job.source_name, log.map, job.fuel, job.limits, present);
    let channels: Vec<&Channel> = assembler.channels().collect();
    let mut columns = Vec::new();
    for channel in &channels {
        let mut fetched = fetch(channel)?;
        check_finite(&fetched.values, channel, job.source_name)?;
        if !channel.no_reading.is_empty() {
            for value in &mut fetched.values {
                if channel.no_reading.contains(value) {
                    *value = f64::NAN;
                }
            }
        }
        columns.push(fetched);
    }
    let row_count = log.times.as_ref().map_or(log.row_count, Vec::len);
    if row_count == 0 {
        return Err(IntakeError::NoRows {
            source_name: job.source_name.to_owned(),
            row: 0,
        });
    }
    let mut raw = Vec::new();
    let mut last_time = 0.0;
    for index in 0..row_count {
        let time = log.times.as_ref().map_or(0.0, |times| times[index]);
        raw.clear();
        raw.extend(columns.iter().map(|column| column.values[index]));
        assembler.push(index as u64 + 1, time, &raw)?;
        last_time = time;
    }
    let mut used: Vec<&str> = channels
        .iter()
        .map(|channel| channel.column.trim())
        .collect();
    used.extend(log.map.time.column.as_deref().map(str::trim));
    let names = log.names.iter();
    let unused_columns = names
        .filter(|name| !used.contains(&name.as_str()))
        .cloned()
        .collect();
    let mut assembled = assembler.finish(row_count as u64, last_time)?;
    for (report, column) in assembled.channels.values_mut().zip(&columns) {
        report.alignment = column.alignment;
    }
    warn_of_alignment(&mut assembled.warnings, &columns, &channels);
    Ok(Intake {
        report: IntakeReport {
            format: log.format,
            compression: job.compression,
            encoding: None,
            delimiter: None,
            decimal_mark: None,
            header_row: 0,
            unit_row: None,
            row_count: row_count as u64,
            passed_over_count: 0,
            cut_row: None,
            byte_count: job.gauge.byte_count.get(),
            channels: assembled.channels,
            clock: assembled.clock,
            unused_columns,
            warnings: assembled.warnings,
        },
        samples: assembled.samples,
    })
}

fn place(source_name: &str, index: usize, column: &str) -> CellPlace {
    CellPlace {
        source_name: source_name.to_owned(),
        row: index as u64 + 1,
        column: column.trim().to_owned(),
    }
}

fn check_finite(values: &[f64], channel: &Channel, source_name: &str) -> Result<(), IntakeError> {
    match values.iter().position(|value| value.is_infinite()) {
        None => Ok(()),
        Some(index) => Err(IntakeError::NotFinite {
            place: place(source_name, index, &channel.column),
            text: values[index].to_string(),
        }),
    }
}

/// Says which channels were brought onto the clock of another.
fn warn_of_alignment(warnings: &mut Vec<PullWarning>, columns: &[Fetched], channels: &[&Channel]) {
    let of = |wanted: Alignment| {
        let both = columns.iter().zip(channels);
        let found = both.filter(|(column, _)| column.alignment == wanted);
        let names: Vec<String> = found
            .map(|(_, channel)| format!("\"{}\"", channel.column.trim()))
            .collect();
        names.join(", ")
    };
    let (linear, held) = (of(Alignment::Linear), of(Alignment::Held));
    if linear.is_empty() && held.is_empty() {
        return;
    }
    let mut parts = Vec::new();
    if !linear.is_empty() {
        parts.push(format!("{linear} by a straight line between neighbours"));
    }
    if !held.is_empty() {
        parts.push(format!("{held} by the last value"));
    }
    warnings.push(PullWarning {
        code: "clocks_aligned".to_owned(),
        message: format!(
            "channels with a clock of their own were brought onto that of the fuel need: {}; where their own readings lie too far apart there is none",
            parts.join(", ")
        ),
    });
}
