//! Reads the cells of one row.

use std::io::Read;

use baytrim_model::channel::{Channel, ChannelMap, Unit};

use super::header::Header;
use super::number::{CellValue, NumberReader, read_flag_word};
use super::rows::Rows;
use super::time::TimeReader;
use crate::assemble::Assembler;
use crate::error::IntakeError;
use crate::place::{CellPlace, shown};

/// Reads the cells of one row.
pub(crate) struct CellReader<'a> {
    source_name: &'a str,
    time: Option<(usize, &'a str)>,
    times: Option<TimeReader>,
    channels: Vec<(usize, &'a Channel)>,
    numbers: NumberReader,
    raw: Vec<f64>,
}

impl<'a> CellReader<'a> {
    /// Returns a reader of the columns that `assembler` takes, in its order, of a log in which `mark` stands before
    /// decimals, where that is known.
    pub(crate) fn new(
        header: &Header,
        map: &'a ChannelMap,
        assembler: &Assembler<'a>,
        source_name: &'a str,
        mark: Option<u8>,
    ) -> Self {
        let time = map.time.column.as_deref();
        let channels = assembler.channels();
        Self {
            source_name,
            time: time.and_then(|column| Some((header.find(column)?, column.trim()))),
            times: TimeReader::new(map.time.unit),
            channels: channels
                .filter_map(|channel| Some((header.find(&channel.column)?, channel)))
                .collect(),
            numbers: NumberReader::new(mark),
            raw: Vec::new(),
        }
    }

    /// Returns the numbers of the row that was read last, one per channel; NaN for no reading.
    pub(crate) fn raw(&self) -> &[f64] {
        &self.raw
    }

    /// Returns what stands before decimals, where the log has any.
    pub(crate) fn decimal_mark(&self) -> Option<char> {
        self.numbers.mark()
    }

    /// Returns the places of the columns in use.
    pub(crate) fn into_used(self) -> Vec<usize> {
        let time = self.time.map(|(index, _)| index);
        let channels = self.channels.iter().map(|(index, _)| *index);
        time.into_iter().chain(channels).collect()
    }

    /// Returns whether the row names units: words in the columns in use, and not one number.
    pub(crate) fn is_unit_row<R: Read>(&self, rows: &Rows<R>) -> bool {
        let time = self.time.map(|(index, _)| index);
        let used = time
            .into_iter()
            .chain(self.channels.iter().map(|(index, _)| *index));
        let mut word_count = 0;
        for index in used {
            let cell = rows.cell(index);
            match NumberReader::default().read(cell) {
                CellValue::Text if is_time(cell) => return false,
                // Lambda has no unit, which some write as 1.
                _ if cell.is_empty() || cell == b"1" => {}
                CellValue::Text if read_flag_word(cell).is_none() => word_count += 1,
                _ => return false,
            }
        }
        word_count > 0
    }

    /// Reads the row in hand and returns its time as logged, 0 where the log has no time column.
    pub(crate) fn read<R: Read>(&mut self, rows: &Rows<R>) -> Result<f64, IntakeError> {
        let time = match self.time {
            None => 0.0,
            Some((index, column)) => self.read_time(rows, index, column)?,
        };
        self.raw.clear();
        for &(index, channel) in &self.channels {
            let cell = rows.cell(index);
            let raw = match read_channel(&mut self.numbers, cell, channel) {
                Ok(raw) => raw,
                Err(value) => {
                    let is_flag = channel.unit == Unit::Flag;
                    let remedy = if is_flag && value == CellValue::Text {
                        "write 0 or 1, off or on, false or true, no or yes"
                    } else {
                        number_remedy(value)
                    };
                    let column = channel.column.trim();
                    return Err(self.cell_error(rows, column, cell, value, remedy));
                }
            };
            self.raw.push(raw);
        }
        Ok(time)
    }

    fn read_time<R: Read>(
        &mut self,
        rows: &Rows<R>,
        index: usize,
        column: &str,
    ) -> Result<f64, IntakeError> {
        let cell = rows.cell(index);
        if cell.is_empty() {
            let place = self.place(rows, column);
            return Err(IntakeError::TimeMissing { place });
        }
        if let Some(times) = &mut self.times {
            let time = times.read(cell);
            let remedy = times.remedy();
            return time
                .ok_or_else(|| self.cell_error(rows, column, cell, CellValue::Text, remedy));
        }
        match self.numbers.read(cell) {
            CellValue::Number(time) => Ok(time),
            value => {
                let remedy = match value {
                    CellValue::Text if cell.contains(&b':') => {
                        "for a clock time write unit = \"clock_time\" under [time], for a date and time unit = \"iso8601\""
                    }
                    CellValue::Text => "mend or delete the row",
                    other => number_remedy(other),
                };
                Err(self.cell_error(rows, column, cell, value, remedy))
            }
        }
    }

    fn place<R: Read>(&self, rows: &Rows<R>, column: &str) -> CellPlace {
        CellPlace {
            source_name: self.source_name.to_owned(),
            row: rows.row(),
            column: column.to_owned(),
        }
    }

    fn cell_error<R: Read>(
        &self,
        rows: &Rows<R>,
        column: &str,
        cell: &[u8],
        value: CellValue,
        remedy: &'static str,
    ) -> IntakeError {
        let place = self.place(rows, column);
        let text = shown(cell);
        if value == CellValue::NotFinite {
            return IntakeError::NotFinite { place, text };
        }
        IntakeError::NotANumber {
            place,
            text,
            remedy,
        }
    }
}

fn read_channel(
    numbers: &mut NumberReader,
    cell: &[u8],
    channel: &Channel,
) -> Result<f64, CellValue> {
    if cell.is_empty() {
        return Ok(f64::NAN);
    }
    let is_cell = |text: &String| text.trim().as_bytes().eq_ignore_ascii_case(cell);
    if channel.no_reading_text.iter().any(is_cell) {
        return Ok(f64::NAN);
    }
    if channel.unit == Unit::Flag
        && let Some(flag) = read_flag_word(cell)
    {
        return Ok(flag);
    }
    match numbers.read(cell) {
        CellValue::Number(raw) if channel.no_reading.contains(&raw) => Ok(f64::NAN),
        CellValue::Number(raw) => Ok(raw),
        value => Err(value),
    }
}

/// Returns whether a cell is a time of day or a date, and no unit.
fn is_time(cell: &[u8]) -> bool {
    cell.contains(&b':') && cell.iter().any(u8::is_ascii_digit)
}

fn number_remedy(value: CellValue) -> &'static str {
    match value {
        CellValue::OtherMark => {
            "decimals are set off by a comma in one place and by a point in another: export the log with one of them"
        }
        CellValue::Thousands => "export the log without marks between thousands",
        CellValue::Number(_) | CellValue::NotFinite | CellValue::Text => {
            "fix the log, or list the text under no_reading_text of the channel"
        }
    }
}
