//! The values of one part of a column, whatever their type.

use arrow_array::cast::AsArray;
use arrow_array::types::{
    ArrowPrimitiveType, Date32Type, Date64Type, Decimal32Type, Decimal64Type, Decimal128Type,
    DurationMicrosecondType, DurationMillisecondType, DurationNanosecondType, DurationSecondType,
    Float16Type, Float32Type, Float64Type, Int8Type, Int16Type, Int32Type, Int64Type,
    Time32MillisecondType, Time32SecondType, Time64MicrosecondType, Time64NanosecondType,
    TimestampMicrosecondType, TimestampMillisecondType, TimestampNanosecondType,
    TimestampSecondType, UInt8Type, UInt16Type, UInt32Type, UInt64Type,
};
use arrow_array::{Array, ArrayRef};
use arrow_schema::{DataType, TimeUnit};
use baytrim_model::channel::Unit;

/// Most letters that are kept of a text. No number and no time is as long, and messages show fewer.
const LETTERS_MAX: usize = 80;

/// Returns whether [`texts`] or [`numbers`] make anything of a type.
pub(super) fn is_read(data_type: &DataType) -> bool {
    use DataType::{
        Boolean, Date32, Date64, Decimal32, Decimal64, Decimal128, Dictionary, Duration, LargeUtf8,
        Time32, Time64, Timestamp, Utf8, Utf8View,
    };
    match data_type {
        Dictionary(_, values) => is_read(values),
        Utf8
        | LargeUtf8
        | Utf8View
        | Boolean
        | Decimal32(_, _)
        | Decimal64(_, _)
        | Decimal128(_, _)
        | Date32
        | Date64
        | Time32(_)
        | Time64(_)
        | Timestamp(_, _)
        | Duration(_) => true,
        other => other.is_integer() || other.is_floating(),
    }
}

/// Returns the texts of `array`, long ones cut; none where it holds none.
pub(super) fn texts(array: &ArrayRef) -> Option<Vec<Option<String>>> {
    let owned = |text: Option<&str>| text.map(|text| text.chars().take(LETTERS_MAX).collect());
    match array.data_type() {
        DataType::Utf8 => Some(array.as_string::<i32>().iter().map(owned).collect()),
        DataType::LargeUtf8 => Some(array.as_string::<i64>().iter().map(owned).collect()),
        DataType::Utf8View => Some(array.as_string_view().iter().map(owned).collect()),
        DataType::Dictionary(_, _) => {
            let known = texts(array.as_any_dictionary().values())?;
            let text = |key: Option<usize>| key.and_then(|key| known.get(key).cloned().flatten());
            Some(keys(array).into_iter().map(text).collect())
        }
        _ => None,
    }
}

/// Returns the numbers of `array`, and what they are where they are times, in seconds; none where it holds
/// no numbers.
pub(super) fn numbers(array: &ArrayRef) -> Option<(Vec<f64>, Option<Unit>)> {
    if let DataType::Dictionary(_, _) = array.data_type() {
        let (known, time) = numbers(array.as_any_dictionary().values())?;
        let number = |key: Option<usize>| key.and_then(|key| known.get(key).copied());
        let numbers = keys(array).into_iter();
        return Some((
            numbers.map(|key| number(key).unwrap_or(f64::NAN)).collect(),
            time,
        ));
    }
    if let Some((seconds, unit)) = times(array) {
        return Some((seconds, Some(unit)));
    }
    let values = match array.data_type() {
        DataType::Float64 => all::<Float64Type>(array, |value| value),
        DataType::Float32 => all::<Float32Type>(array, f64::from),
        DataType::Float16 => all::<Float16Type>(array, f64::from),
        DataType::Int8 => all::<Int8Type>(array, f64::from),
        DataType::Int16 => all::<Int16Type>(array, f64::from),
        DataType::Int32 => all::<Int32Type>(array, f64::from),
        DataType::Int64 => all::<Int64Type>(array, |value| value as f64),
        DataType::UInt8 => all::<UInt8Type>(array, f64::from),
        DataType::UInt16 => all::<UInt16Type>(array, f64::from),
        DataType::UInt32 => all::<UInt32Type>(array, f64::from),
        DataType::UInt64 => all::<UInt64Type>(array, |value| value as f64),
        // Both whole parts are exact up to 2^53, so that the quotient is the double next to the decimal.
        &DataType::Decimal32(_, scale) => {
            all::<Decimal32Type>(array, |value| f64::from(value) / power_of_ten(scale))
        }
        &DataType::Decimal64(_, scale) => {
            all::<Decimal64Type>(array, |value| value as f64 / power_of_ten(scale))
        }
        &DataType::Decimal128(_, scale) => {
            all::<Decimal128Type>(array, |value| value as f64 / power_of_ten(scale))
        }
        DataType::Boolean => {
            let bits = array.as_boolean().iter();
            let number = |bit: Option<bool>| bit.map_or(f64::NAN, |bit| f64::from(u8::from(bit)));
            bits.map(number).collect()
        }
        _ => return None,
    };
    Some((values, None))
}

/// Returns the times of `array` in seconds, and what they are: moments, times of day or lengths of time.
fn times(array: &ArrayRef) -> Option<(Vec<f64>, Unit)> {
    use TimeUnit::{Microsecond, Millisecond, Nanosecond, Second};
    let seconds = |value: i64| value as f64;
    let millis = |value: i64| parts(value, 1_000);
    let micros = |value: i64| parts(value, 1_000_000);
    let nanos = |value: i64| parts(value, 1_000_000_000);
    let (values, unit) = match array.data_type() {
        DataType::Timestamp(unit, _) => {
            let values = match unit {
                Second => all::<TimestampSecondType>(array, seconds),
                Millisecond => all::<TimestampMillisecondType>(array, millis),
                Microsecond => all::<TimestampMicrosecondType>(array, micros),
                Nanosecond => all::<TimestampNanosecondType>(array, nanos),
            };
            (values, Unit::Iso8601)
        }
        DataType::Date32 => {
            let days = |value: i32| f64::from(value) * 86_400.0;
            (all::<Date32Type>(array, days), Unit::Iso8601)
        }
        DataType::Date64 => (all::<Date64Type>(array, millis), Unit::Iso8601),
        DataType::Time32(Second) => (all::<Time32SecondType>(array, f64::from), Unit::ClockTime),
        DataType::Time32(_) => {
            let millis = |value: i32| millis(i64::from(value));
            (all::<Time32MillisecondType>(array, millis), Unit::ClockTime)
        }
        DataType::Time64(Microsecond) => {
            (all::<Time64MicrosecondType>(array, micros), Unit::ClockTime)
        }
        DataType::Time64(_) => (all::<Time64NanosecondType>(array, nanos), Unit::ClockTime),
        DataType::Duration(unit) => {
            let values = match unit {
                Second => all::<DurationSecondType>(array, seconds),
                Millisecond => all::<DurationMillisecondType>(array, millis),
                Microsecond => all::<DurationMicrosecondType>(array, micros),
                Nanosecond => all::<DurationNanosecondType>(array, nanos),
            };
            (values, Unit::S)
        }
        _ => return None,
    };
    Some((values, unit))
}

/// Returns the place of each value of a dictionary's column, none where there is no value.
fn keys(array: &ArrayRef) -> Vec<Option<usize>> {
    let dictionary = array.as_any_dictionary();
    let places = dictionary.normalized_keys().into_iter().enumerate();
    let is_there = |row: usize| dictionary.keys().is_valid(row);
    places
        .map(|(row, place)| is_there(row).then_some(place))
        .collect()
}

/// 2^53 microseconds are 285 years and 2^53 nanoseconds 104 days; whole seconds go first so that a moment of
/// this century keeps its microseconds.
fn parts(value: i64, per_second: i64) -> f64 {
    value.div_euclid(per_second) as f64 + value.rem_euclid(per_second) as f64 / per_second as f64
}

fn power_of_ten(scale: i8) -> f64 {
    10_f64.powi(i32::from(scale))
}

fn all<T: ArrowPrimitiveType>(array: &ArrayRef, to: impl Fn(T::Native) -> f64) -> Vec<f64> {
    let values = array.as_primitive::<T>().iter();
    values.map(|value| value.map_or(f64::NAN, &to)).collect()
}
