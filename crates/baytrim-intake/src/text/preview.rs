//! Looks at a text without a channel map.

use std::io::Read;

use baytrim_model::channel::Unit;

use super::header::Header;
use super::number::{CellValue, NumberReader, read_flag_word};
use super::rows::Rows;
use super::time::{TimeReader, read_clock_time, read_date};
use crate::error::IntakeError;
use crate::place::decode;
use crate::suggest::table::{CELLS_MAX, RawColumn, RawTable};

/// Fewest rows of a text that is told to be prose, for want of numbers beneath each other.
const ROWS_OF_PROSE_MIN: usize = 5;

/// Reads rows until the end, or until enough was seen.
pub(super) fn preview<R: Read>(
    mut rows: Rows<R>,
    header: &Header,
    mark: Option<u8>,
    source_name: &str,
) -> Result<RawTable, IntakeError> {
    let rows_max = (CELLS_MAX / header.columns.len().max(1)).max(1);
    let mut columns: Vec<Looked> = header
        .columns
        .iter()
        .map(|name| Looked::new(name))
        .collect();
    let mut numbers = NumberReader::new(mark);
    let mut row_numbers = Vec::new();
    let mut is_cut = false;
    let mut has_units = false;
    while rows.advance()? {
        if rows.filled_count() == 0 || rows.cell(0).starts_with(b"# ") {
            continue;
        }
        if row_numbers.is_empty() && !has_units && is_unit_row(&rows) {
            for (index, column) in columns.iter_mut().enumerate() {
                column.raw.unit = Some(decode(rows.cell(index)));
            }
            has_units = true;
            continue;
        }
        if rows.cell_count() < header.columns.len() && rows.is_cut() {
            break;
        }
        if row_numbers.len() == rows_max {
            is_cut = true;
            break;
        }
        for (index, column) in columns.iter_mut().enumerate() {
            column.push(rows.cell(index), &mut numbers);
        }
        row_numbers.push(rows.row());
    }
    if row_numbers.is_empty() {
        return Err(IntakeError::NoRows {
            source_name: source_name.to_owned(),
            row: header.row,
        });
    }
    if row_numbers.len() >= ROWS_OF_PROSE_MIN && columns.iter().all(|column| column.raw.is_prose())
    {
        return Err(IntakeError::Unsuited {
            source_name: source_name.to_owned(),
            finding: "is a text without columns of numbers".to_owned(),
            remedy: "export the log as a table: one row with the name of each column, the readings below",
        });
    }
    let named = columns.into_iter().map(|column| column.raw);
    Ok(RawTable {
        rows: row_numbers,
        is_cut,
        columns: named.filter(|column| !column.name.is_empty()).collect(),
    })
}

/// Words and not one number, save the 1 that stands for no unit.
fn is_unit_row<R: Read>(rows: &Rows<R>) -> bool {
    let mut word_count = 0;
    for index in 0..rows.cell_count() {
        let cell = rows.cell(index);
        match NumberReader::default().read(cell) {
            _ if cell.is_empty() || cell == b"1" => {}
            CellValue::Text if read_flag_word(cell).is_none() && notation(cell).is_none() => {
                word_count += 1;
            }
            _ => return false,
        }
    }
    word_count > 0
}

fn notation(cell: &[u8]) -> Option<Unit> {
    let text = std::str::from_utf8(cell).ok()?;
    if read_clock_time(text).is_some() {
        Some(Unit::ClockTime)
    } else if read_date(text).is_some() {
        Some(Unit::Iso8601)
    } else {
        None
    }
}

/// A column and what reads its times.
struct Looked {
    raw: RawColumn,
    times: Option<TimeReader>,
}

impl Looked {
    fn new(name: &str) -> Self {
        Self {
            raw: RawColumn {
                name: name.to_owned(),
                ..RawColumn::default()
            },
            times: None,
        }
    }

    fn push(&mut self, cell: &[u8], numbers: &mut NumberReader) {
        let value = if cell.is_empty() {
            f64::NAN
        } else {
            self.value(cell, numbers)
        };
        self.raw.values.push(value);
    }

    fn value(&mut self, cell: &[u8], numbers: &mut NumberReader) -> f64 {
        if let Some(times) = &mut self.times {
            return times.read(cell).unwrap_or(f64::NAN);
        }
        if let CellValue::Number(number) = numbers.read(cell) {
            return number;
        }
        if let Some(flag) = read_flag_word(cell) {
            return flag;
        }
        let is_first =
            self.raw.texts.is_empty() && self.raw.values.iter().all(|value| value.is_nan());
        if let Some(unit) = notation(cell).filter(|_| is_first) {
            let mut times = TimeReader::new(unit);
            let value = times.as_mut().and_then(|times| times.read(cell));
            self.raw.notation = Some(unit);
            self.times = times;
            return value.unwrap_or(f64::NAN);
        }
        self.raw.count_text(&decode(cell));
        f64::NAN
    }
}
