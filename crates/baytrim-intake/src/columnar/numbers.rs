//! Columns of tables as numbers.

use arrow_array::cast::AsArray;
use arrow_array::types::{
    ArrowPrimitiveType, Date32Type, Date64Type, Float32Type, Float64Type, Int8Type, Int16Type,
    Int32Type, Int64Type, TimestampMicrosecondType, TimestampMillisecondType,
    TimestampNanosecondType, TimestampSecondType, UInt8Type, UInt16Type, UInt32Type, UInt64Type,
};
use arrow_array::{Array, ArrayRef};
use arrow_schema::{DataType, TimeUnit};
use baytrim_model::channel::{Channel, Unit};

use crate::error::IntakeError;
use crate::place::{CellPlace, shown};
use crate::suggest::table::RawColumn;
use crate::text::{CellValue, NumberReader, TimeReader, read_flag_word};
use crate::units::seconds_per;

/// A column as it was read.
#[derive(Debug, Default)]
pub(super) enum Column {
    /// Nothing yet.
    #[default]
    Empty,
    /// Numbers, NaN where there is none.
    Numbers(Vec<f64>),
    /// Moments, in seconds since 1970.
    Seconds(Vec<f64>),
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
        let Some((numbers, is_moment)) = numbers(array) else {
            *self = Self::Other;
            return;
        };
        match self {
            Self::Empty if is_moment => *self = Self::Seconds(numbers),
            Self::Empty => *self = Self::Numbers(numbers),
            Self::Numbers(all) | Self::Seconds(all) => all.extend(numbers),
            _ => *self = Self::Other,
        }
    }

    /// Returns the column as times in `unit`; moments need no unit.
    pub(super) fn times(&self, unit: Unit) -> Result<Vec<f64>, TextFault> {
        let wrong = |row: usize, text: &str, remedy| TextFault {
            row: row as u64 + 1,
            text: text.to_owned(),
            remedy,
        };
        match self {
            Self::Numbers(values) => Ok(values.clone()),
            Self::Seconds(values) => Ok(values
                .iter()
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
            Self::Seconds(values) => {
                raw.values = values;
                raw.notation = Some(Unit::Iso8601);
            }
            Self::Texts(texts) => preview_texts(&mut raw, &texts),
            Self::Empty | Self::Other => {}
        }
        raw
    }
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

fn texts(array: &ArrayRef) -> Option<Vec<Option<String>>> {
    let owned = |text: Option<&str>| text.map(ToOwned::to_owned);
    match array.data_type() {
        DataType::Utf8 => Some(array.as_string::<i32>().iter().map(owned).collect()),
        DataType::LargeUtf8 => Some(array.as_string::<i64>().iter().map(owned).collect()),
        DataType::Utf8View => Some(array.as_string_view().iter().map(owned).collect()),
        _ => None,
    }
}

/// Returns the numbers of `array`, and whether they are moments in seconds; none where it holds none.
fn numbers(array: &ArrayRef) -> Option<(Vec<f64>, bool)> {
    let plain = |values: Vec<f64>| Some((values, false));
    let moment = |values: Vec<f64>| Some((values, true));
    match array.data_type() {
        DataType::Float64 => plain(all::<Float64Type>(array, |value| value)),
        DataType::Float32 => plain(all::<Float32Type>(array, f64::from)),
        DataType::Int8 => plain(all::<Int8Type>(array, f64::from)),
        DataType::Int16 => plain(all::<Int16Type>(array, f64::from)),
        DataType::Int32 => plain(all::<Int32Type>(array, f64::from)),
        DataType::Int64 => plain(all::<Int64Type>(array, |value| value as f64)),
        DataType::UInt8 => plain(all::<UInt8Type>(array, f64::from)),
        DataType::UInt16 => plain(all::<UInt16Type>(array, f64::from)),
        DataType::UInt32 => plain(all::<UInt32Type>(array, f64::from)),
        DataType::UInt64 => plain(all::<UInt64Type>(array, |value| value as f64)),
        DataType::Boolean => {
            let bits = array.as_boolean().iter();
            plain(
                bits.map(|bit| bit.map_or(f64::NAN, |bit| f64::from(u8::from(bit))))
                    .collect(),
            )
        }
        // 2^53 microseconds are 285 years and 2^53 nanoseconds 104 days; whole seconds go first so
        // that a moment of this century keeps its microseconds.
        DataType::Timestamp(TimeUnit::Second, _) => {
            moment(all::<TimestampSecondType>(array, |value| value as f64))
        }
        DataType::Timestamp(TimeUnit::Millisecond, _) => {
            moment(all::<TimestampMillisecondType>(array, |value| {
                parts(value, 1_000)
            }))
        }
        DataType::Timestamp(TimeUnit::Microsecond, _) => {
            moment(all::<TimestampMicrosecondType>(array, |value| {
                parts(value, 1_000_000)
            }))
        }
        DataType::Timestamp(TimeUnit::Nanosecond, _) => {
            moment(all::<TimestampNanosecondType>(array, |value| {
                parts(value, 1_000_000_000)
            }))
        }
        DataType::Date32 => moment(all::<Date32Type>(array, |value| {
            f64::from(value) * 86_400.0
        })),
        DataType::Date64 => moment(all::<Date64Type>(array, |value| parts(value, 1_000))),
        _ => None,
    }
}

fn parts(value: i64, per_second: i64) -> f64 {
    value.div_euclid(per_second) as f64 + value.rem_euclid(per_second) as f64 / per_second as f64
}

fn all<T: ArrowPrimitiveType>(array: &ArrayRef, to: impl Fn(T::Native) -> f64) -> Vec<f64> {
    let values = array.as_primitive::<T>().iter();
    values.map(|value| value.map_or(f64::NAN, &to)).collect()
}
