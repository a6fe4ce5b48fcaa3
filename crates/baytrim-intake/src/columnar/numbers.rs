//! Columns of tables as numbers.

use arrow_array::ArrayRef;
use baytrim_model::channel::{Channel, Unit};

use super::arrays::{numbers, texts};
use crate::error::IntakeError;
use crate::place::{CellPlace, shown};
use crate::suggest::table::RawColumn;
use crate::text::{CellValue, NumberReader, TimeReader, read_flag_word};
use crate::units::seconds_per;

/// A column as it was read.
#[derive(Debug, Default, Clone)]
pub(super) enum Column {
    /// Nothing yet.
    #[default]
    Empty,
    /// Numbers, NaN where there is none.
    Numbers(Vec<f64>),
    /// Times in seconds: moments since 1970 (`iso8601`), times of day (`clock_time`), lengths of time (`s`).
    Seconds(Vec<f64>, Unit),
    /// Texts, none where there is none.
    Texts(Vec<Option<String>>),
    /// Neither.
    Other,
}

/// A text that is not what it should be.
pub(super) struct TextFault {
    row: u64,
    text: String,
    remedy: &'static str,
}

impl TextFault {
    /// Returns the complaint.
    pub(super) fn at(self, source_name: &str, column: &str) -> IntakeError {
        let place = CellPlace {
            source_name: source_name.to_owned(),
            row: self.row,
            column: column.trim().to_owned(),
        };
        IntakeError::NotANumber {
            place,
            text: shown(self.text.as_bytes()),
            remedy: self.remedy,
        }
    }
}

impl Column {
    /// Takes the next part of the column.
    pub(super) fn take(&mut self, array: &ArrayRef) {
        if let Some(texts) = texts(array) {
            match self {
                Self::Empty => *self = Self::Texts(texts),
                Self::Texts(all) => all.extend(texts),
                _ => *self = Self::Other,
            }
            return;
        }
        let Some((numbers, time)) = numbers(array) else {
            *self = Self::Other;
            return;
        };
        match (&mut *self, time) {
            (Self::Empty, Some(unit)) => *self = Self::Seconds(numbers, unit),
            (Self::Empty, None) => *self = Self::Numbers(numbers),
            (Self::Numbers(all) | Self::Seconds(all, _), _) => all.extend(numbers),
            _ => *self = Self::Other,
        }
    }

    /// Returns the column as times in `unit`; moments need no unit.
    pub(super) fn times(self, unit: Unit) -> Result<Vec<f64>, TextFault> {
        let wrong = |row: usize, text: &str, remedy| TextFault {
            row: row as u64 + 1,
            text: text.to_owned(),
            remedy,
        };
        match self {
            Self::Numbers(values) => Ok(values),
            Self::Seconds(values, written) => Ok(counted_on(&values, written)
                .into_iter()
                .map(|value| value / seconds_per(unit))
                .collect()),
            Self::Texts(texts) => {
                let mut times = TimeReader::new(unit);
                let mut numbers = NumberReader::default();
                let mut values = Vec::with_capacity(texts.len());
                for (row, text) in texts.iter().enumerate() {
                    let text = text.as_deref().unwrap_or_default().trim();
                    let value = match &mut times {
                        _ if text.is_empty() => Some(f64::NAN),
                        Some(times) => times.read(text.as_bytes()),
                        None => number(numbers.read(text.as_bytes())),
                    };
                    let remedy = times.as_ref().map_or(
                        "for a clock time write unit = \"clock_time\" under [time], for a date and time unit = \"iso8601\"",
                        TimeReader::remedy,
                    );
                    values.push(value.ok_or_else(|| wrong(row, text, remedy))?);
                }
                Ok(values)
            }
            Self::Empty => Ok(Vec::new()),
            Self::Other => Err(wrong(
                0,
                "?",
                "name a column of numbers or times under [time]",
            )),
        }
    }

    /// Returns the column to look at.
    pub(super) fn preview(self, name: String) -> RawColumn {
        let mut raw = RawColumn {
            name,
            ..RawColumn::default()
        };
        match self {
            Self::Numbers(values) => raw.values = values,
            Self::Seconds(values, written) => {
                raw.values = counted_on(&values, written);
                raw.notation = Some(written);
            }
            Self::Texts(texts) => preview_texts(&mut raw, &texts),
            Self::Empty | Self::Other => {}
        }
        raw
    }
}

/// Returns times of day counted on over midnight, other times as they are.
fn counted_on(values: &[f64], written: Unit) -> Vec<f64> {
    let mut clock = TimeReader::new(written).filter(|_| written == Unit::ClockTime);
    let values = values.iter();
    let counted = values.map(|&value| match &mut clock {
        Some(clock) if !value.is_nan() => clock.count_on(value),
        _ => value,
    });
    counted.collect()
}

fn preview_texts(raw: &mut RawColumn, texts: &[Option<String>]) {
    let first = texts.iter().flatten().find(|text| !text.trim().is_empty());
    for unit in [Unit::ClockTime, Unit::Iso8601] {
        let mut times = TimeReader::new(unit);
        let is_time = first.zip(times.as_mut());
        if is_time
            .and_then(|(text, times)| times.read(text.trim().as_bytes()))
            .is_some()
        {
            raw.notation = Some(unit);
        }
    }
    let mut times = raw.notation.and_then(TimeReader::new);
    let mut numbers = NumberReader::default();
    for text in texts {
        let text = text.as_deref().unwrap_or_default().trim();
        let value = match &mut times {
            Some(times) => times.read(text.as_bytes()),
            None => {
                read_flag_word(text.as_bytes()).or_else(|| number(numbers.read(text.as_bytes())))
            }
        };
        if value.is_none() && !text.is_empty() {
            raw.count_text(text);
        }
        raw.values.push(value.unwrap_or(f64::NAN));
    }
}

/// A column of texts that should be numbers.
pub(super) struct TextColumn<'a>(pub &'a [Option<String>]);

impl TextColumn<'_> {
    /// Returns the numbers that the texts say.
    pub(super) fn values(&self, channel: &Channel) -> Result<Vec<f64>, TextFault> {
        let mut numbers = NumberReader::default();
        let mut values = Vec::with_capacity(self.0.len());
        for (row, text) in self.0.iter().enumerate() {
            let text = text.as_deref().unwrap_or_default().trim();
            let is_none = text.is_empty()
                || channel
                    .no_reading_text
                    .iter()
                    .any(|none| none.trim().eq_ignore_ascii_case(text));
            let flag = read_flag_word(text.as_bytes()).filter(|_| channel.unit == Unit::Flag);
            let value = match flag {
                _ if is_none => f64::NAN,
                Some(flag) => flag,
                None => number(numbers.read(text.as_bytes())).ok_or_else(|| TextFault {
                    row: row as u64 + 1,
                    text: text.to_owned(),
                    remedy: "fix the log, or list the text under no_reading_text of the channel",
                })?,
            };
            values.push(value);
        }
        Ok(values)
    }
}

fn number(value: CellValue) -> Option<f64> {
    match value {
        CellValue::Number(number) => Some(number),
        _ => None,
    }
}
