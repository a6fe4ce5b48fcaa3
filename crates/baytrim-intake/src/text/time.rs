//! Times that are written with marks between their parts.

use baytrim_model::channel::Unit;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

/// Seconds in a day.
const DAY_S: f64 = 86_400.0;

/// A time of day this far behind the one before belongs to the next day, seconds.
const MIDNIGHT_S: f64 = DAY_S / 2.0;

/// Reads the times of one log as seconds: of the day, counted on over midnight, or since the first
/// date and time.
#[derive(Debug)]
pub(crate) struct TimeReader {
    is_date: bool,
    first: Option<Timestamp>,
    before_s: f64,
    days_s: f64,
}

impl TimeReader {
    /// Returns a reader for `unit`, none where times are plain numbers.
    pub(crate) fn new(unit: Unit) -> Option<Self> {
        let is_date = match unit {
            Unit::ClockTime => false,
            Unit::Iso8601 => true,
            _ => return None,
        };
        Some(Self {
            is_date,
            first: None,
            before_s: f64::NEG_INFINITY,
            days_s: 0.0,
        })
    }

    /// Returns what a good time looks like, for messages.
    pub(crate) fn remedy(&self) -> &'static str {
        if self.is_date {
            "a date and time by ISO 8601 looks like 2031-05-04T10:15:30.25"
        } else {
            "a clock time looks like 10:15:30.25"
        }
    }

    /// Returns the seconds that `cell` says, none where it is no time.
    pub(crate) fn read(&mut self, cell: &[u8]) -> Option<f64> {
        let text = std::str::from_utf8(cell).ok()?;
        if self.is_date {
            let time = read_date(text)?;
            let first = *self.first.get_or_insert(time);
            return Some(time.duration_since(first).as_secs_f64());
        }
        Some(self.count_on(read_clock_time(text)?))
    }

    /// Returns the seconds of a time of day, counted on over midnight.
    pub(crate) fn count_on(&mut self, time_s: f64) -> f64 {
        if time_s + MIDNIGHT_S < self.before_s {
            self.days_s += DAY_S;
        }
        self.before_s = time_s;
        time_s + self.days_s
    }
}

/// Returns the instant that `text` names; without an offset from UTC it is taken for UTC, so that
/// differences are those of the wall clock.
pub(super) fn read_date(text: &str) -> Option<Timestamp> {
    // Nothing that is no date, and no longer than one with nanoseconds, offset and zone.
    if !text.is_ascii() || text.len() > 64 || !text.contains([':', 'T']) {
        return None;
    }
    let text = &iso(text);
    if let Ok(time) = text.parse::<Timestamp>() {
        return Some(time);
    }
    let time = text.parse::<DateTime>().ok()?;
    TimeZone::UTC.to_timestamp(time).ok()
}

/// Returns a date that is written `2031/05/04` or `4.5.2031` as ISO 8601 has it, what follows it unchanged.
fn iso(text: &str) -> String {
    let end = text.find([' ', 'T']).unwrap_or(text.len());
    let (date, rest) = text.split_at(end);
    let is_year = |part: &str| part.len() == 4;
    let parts = match date.split(['/', '.']).collect::<Vec<_>>().as_slice() {
        [year, month, day] if is_year(year) && date.contains('/') => [*year, *month, *day],
        [day, month, year] if is_year(year) && !date.contains('/') => [*year, *month, *day],
        _ => return text.to_owned(),
    };
    format!("{}-{:0>2}-{:0>2}{rest}", parts[0], parts[1], parts[2])
}

/// Returns the seconds of `HH:MM:SS` or `MM:SS`, with decimals of the second after a point, a comma
/// or, three of them, a colon.
pub(super) fn read_clock_time(text: &str) -> Option<f64> {
    let half = text
        .len()
        .checked_sub(2)
        .and_then(|end| text.split_at_checked(end));
    let is_half = |word: &str| half.is_some_and(|(_, end)| end.eq_ignore_ascii_case(word));
    if let Some((time, _)) = half.filter(|_| is_half("am") || is_half("pm")) {
        let time = time.trim_end();
        let seconds = if time.matches(':').count() == 1 {
            ":00"
        } else {
            ""
        };
        let time_s = read_plain_clock_time(&format!("{time}{seconds}"))?;
        let in_half_s = if time_s >= DAY_S / 2.0 {
            time_s - DAY_S / 2.0
        } else {
            time_s
        };
        let is_hour = (3600.0..DAY_S / 2.0 + 3600.0).contains(&time_s);
        let half_s = if is_half("pm") { DAY_S / 2.0 } else { 0.0 };
        return is_hour.then_some(in_half_s + half_s);
    }
    read_plain_clock_time(text)
}

fn read_plain_clock_time(text: &str) -> Option<f64> {
    let parts: Vec<&str> = text.split(':').collect();
    let (whole, second) = match parts.as_slice() {
        [hour, minute, second, thousandth] if is_digits(thousandth, 3..=3) => {
            (vec![*hour, *minute], format!("{second}.{thousandth}"))
        }
        [whole @ .., second] if (1..=2).contains(&whole.len()) => {
            (whole.to_vec(), second.replacen(',', ".", 1))
        }
        _ => return None,
    };
    let (digits, decimals) = second.split_once('.').unwrap_or((&second, "0"));
    if !is_digits(digits, 1..=2) || !is_digits(decimals, 1..=12) {
        return None;
    }
    let mut total = 0.0;
    for (index, part) in whole.iter().enumerate() {
        if !is_digits(part, 1..=3) {
            return None;
        }
        let value: f64 = part.parse().ok()?;
        if index > 0 && value >= 60.0 {
            return None;
        }
        total = total * 60.0 + value;
    }
    let second: f64 = second.parse().ok()?;
    (second < 61.0).then_some(total * 60.0 + second)
}

fn is_digits(text: &str, count: std::ops::RangeInclusive<usize>) -> bool {
    count.contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(unit: Unit, cells: &[&str]) -> Vec<Option<f64>> {
        let mut reader = TimeReader::new(unit).expect("a notation");
        let times = cells.iter().map(|cell| reader.read(cell.as_bytes()));
        times.collect()
    }

    /// A log that runs over midnight, or writes its decimals otherwise, would be refused or shifted.
    #[test]
    fn clock_times_are_read_as_seconds() {
        assert_eq!(
            read(
                Unit::ClockTime,
                &["23:59:59.5", "0:00:00,25", "00:00:01:750", "00:00:02"]
            ),
            [86_399.5, 86_400.25, 86_401.75, 86_402.0].map(Some)
        );
        assert_eq!(
            read(Unit::ClockTime, &["01:30.5", "125:00"]),
            [90.5, 7500.0].map(Some)
        );
        assert_eq!(
            read(
                Unit::ClockTime,
                &[
                    "11:59:59 AM",
                    "12:00:00.5 pm",
                    "1:00 PM",
                    "11:59:59PM",
                    "12:00:01 AM"
                ]
            ),
            [43_199.0, 43_200.5, 46_800.0, 86_399.0, 86_401.0].map(Some)
        );
        let wrong = ["13:00:00 PM", "0:30:00 AM", "AM", "9 pm"];
        assert_eq!(read(Unit::ClockTime, &wrong), [None; 4]);
        let wrong = [
            "", ":", "12", "12:", "12:60:00", "1:2:3:4", "12:30:61", "1:2:+3", "a:b:c",
        ];
        assert_eq!(read(Unit::ClockTime, &wrong), [None; 9]);
    }

    /// Times with an offset from UTC, or without one, would come out as other intervals.
    ///
    /// The notations are those of ISO 8601-1 section 5.4 and, with a space for the T, of RFC 3339.
    #[test]
    fn dates_are_read_as_seconds_since_the_first() {
        let cells = [
            "2031-05-04T10:15:30.25Z",
            "2031-05-04T12:15:31.75+02:00",
            "20310504T101533Z",
            "2031-05-04 10:15:34,5Z",
        ];
        assert_eq!(
            read(Unit::Iso8601, &cells),
            [0.0, 1.5, 2.75, 4.25].map(Some)
        );
        let cells = [
            "2028-02-28 23:59:59",
            "2028-02-29T00:00:00",
            "2028-03-01T00:00:00.125",
        ];
        assert_eq!(
            read(Unit::Iso8601, &cells),
            [0.0, 1.0, 86_401.125].map(Some)
        );
        let cells = [
            "31.12.2031 23:59:59",
            "1.1.2032 00:00:00,5",
            "2032/01/01 00:00:02",
        ];
        assert_eq!(read(Unit::Iso8601, &cells), [0.0, 1.5, 3.0].map(Some));
        let wrong = [
            "5/4/2031 10:15:30",
            "2031-02-30T10:00:00",
            "2031-05-04",
            "12:30:00",
            "",
        ];
        assert_eq!(read(Unit::Iso8601, &wrong), [None; 5]);
    }
}
