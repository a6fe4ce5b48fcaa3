//! Makes offsets of the times that a log tells.

use baytrim_model::channel::{RepeatedTime, TimeChannel};

use crate::report::ClockReport;
use crate::units::seconds_per;

/// Most rows that may share one tick of a coarse clock: ten thousand a second is faster than any
/// logger of engine channels, so that beyond it the clock has stopped.
const ROWS_PER_TICK_MAX: u64 = 10_000;

/// Times closer than this are the same, seconds.
const TICK_S_MIN: f64 = 1e-6;

/// A pause longer than this many ordinary ticks is a gap in the log: rows are not spread over it.
const TICKS_SPREAD_MAX: f64 = 4.0;

/// Rows closer than this share of the mean interval came in one bunch.
const BUNCH_SHARE: f64 = 0.1;

/// Share of the intervals that lie inside bunches in a log that is bunched throughout: every other row.
const BUNCHED_SHARE_MIN: f64 = 0.45;

/// What is wrong with the time of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum ClockFault {
    /// Earlier than the row before.
    Backwards { before: f64 },
    /// The same as the row before.
    Repeated,
    /// The same for too many rows.
    Stuck { row_count: u64 },
    /// Too long after the first row.
    TooLong { elapsed_s: f64 },
}

/// Makes offsets of the times that a log tells.
#[derive(Debug)]
pub(crate) struct Clock {
    to_s: f64,
    rate_hz: Option<f64>,
    repeated: RepeatedTime,
    duration_s_max: f64,
    first: Option<f64>,
    before: f64,
    tick_row_count: u64,
    repeated_count: u64,
    offset_s: Vec<f64>,
}

impl Clock {
    /// Returns a clock that reads times as `time` says.
    pub(crate) fn new(time: &TimeChannel, duration_s_max: f64) -> Self {
        Self {
            to_s: seconds_per(time.unit),
            rate_hz: time.rate_hz,
            repeated: time.repeated,
            duration_s_max,
            first: None,
            before: f64::NAN,
            tick_row_count: 0,
            repeated_count: 0,
            offset_s: Vec::new(),
        }
    }

    /// Returns the number of rows so far.
    pub(crate) fn row_count(&self) -> usize {
        self.offset_s.len()
    }

    /// Takes the time of the next row, as logged; it is not looked at where rows have a steady rate.
    pub(crate) fn push(&mut self, time: f64) -> Result<(), ClockFault> {
        if let Some(rate_hz) = self.rate_hz {
            self.offset_s.push(self.offset_s.len() as f64 / rate_hz);
            return Ok(());
        }
        let first = *self.first.get_or_insert(time);
        let elapsed_s = (time - first) * self.to_s;
        let last_s = self.offset_s.last().copied();
        let step_s = last_s.map_or(f64::INFINITY, |last_s| elapsed_s - last_s);
        if step_s < 0.0 {
            return Err(ClockFault::Backwards {
                before: self.before,
            });
        }
        if elapsed_s > self.duration_s_max {
            return Err(ClockFault::TooLong { elapsed_s });
        }
        if step_s < TICK_S_MIN {
            self.repeat()?;
            self.offset_s.extend(last_s);
        } else {
            self.tick_row_count = 1;
            self.offset_s.push(elapsed_s);
            self.before = time;
        }
        Ok(())
    }

    fn repeat(&mut self) -> Result<(), ClockFault> {
        if self.repeated == RepeatedTime::Refuse {
            return Err(ClockFault::Repeated);
        }
        self.tick_row_count += 1;
        self.repeated_count += 1;
        if self.tick_row_count > ROWS_PER_TICK_MAX {
            return Err(ClockFault::Stuck {
                row_count: self.tick_row_count,
            });
        }
        Ok(())
    }

    /// Returns the offsets, strictly increasing from 0, and how even they are.
    ///
    /// # Errors
    /// When the clock never moved.
    pub(crate) fn finish(mut self) -> Result<(Vec<f64>, ClockReport), ClockFault> {
        let bunch_rows = bunch_rows(&self.offset_s);
        if self.repeated == RepeatedTime::Spread && bunch_rows.is_some() {
            self.repeated_count = gather(&mut self.offset_s);
        }
        if self.repeated_count > 0 {
            if self.repeated_count + 1 == self.offset_s.len() as u64 {
                return Err(ClockFault::Stuck {
                    row_count: self.offset_s.len() as u64,
                });
            }
            spread(&mut self.offset_s);
        }
        let report = clock_report(&self.offset_s, self.repeated_count, bunch_rows);
        Ok((self.offset_s, report))
    }
}

/// Spreads the rows that share a tick evenly until the next one.
///
/// The rows of the last tick, and those before a gap, get one ordinary (median) tick. Ticks are at
/// least a microsecond apart and hold at most ten thousand rows, so that in a week of offsets two
/// neighbours still differ: 1e-10 s against a resolution of 6e-11 s at half a million seconds.
fn spread(offset_s: &mut [f64]) {
    let mut ticks: Vec<f64> = offset_s
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .filter(|&step_s| step_s > 0.0)
        .collect();
    let tick_s = quantile(&mut ticks, 0.5);
    let mut start = 0;
    while start < offset_s.len() {
        let time_s = offset_s[start];
        let shared = offset_s[start..].iter().take_while(|&&next| next <= time_s);
        let count = shared.count();
        let span_s = match offset_s.get(start + count) {
            Some(next) if next - time_s <= TICKS_SPREAD_MAX * tick_s => next - time_s,
            Some(_) | None => tick_s,
        };
        for (index, offset_s) in offset_s[start..start + count].iter_mut().enumerate() {
            *offset_s = time_s + span_s * index as f64 / count as f64;
        }
        start += count;
    }
}

/// Returns the rows of a bunch, on average, where rows come in bunches with pauses between: a bus or a
/// radio delivers several readings at once, and stamps them when they arrive.
fn bunch_rows(offset_s: &[f64]) -> Option<f64> {
    let (first, last) = (offset_s.first()?, offset_s.last()?);
    let step_count = offset_s.len() - 1;
    if step_count < 8 {
        return None;
    }
    let close_s = BUNCH_SHARE * (last - first) / step_count as f64;
    let steps = offset_s.windows(2).map(|pair| pair[1] - pair[0]);
    let close_count = steps.filter(|step_s| *step_s < close_s).count();
    let is_bunched = close_count as f64 >= BUNCHED_SHARE_MIN * step_count as f64;
    is_bunched.then(|| offset_s.len() as f64 / (step_count - close_count + 1) as f64)
}

/// Gives all rows of a bunch the time of its first, and returns how many rows that concerns.
fn gather(offset_s: &mut [f64]) -> u64 {
    let last = offset_s.len() - 1;
    let close_s = BUNCH_SHARE * (offset_s[last] - offset_s[0]) / last as f64;
    let (mut first_s, mut before_s, mut count) = (offset_s[0], offset_s[0], 0);
    for time_s in offset_s.iter_mut().skip(1) {
        let is_close = *time_s - before_s < close_s;
        before_s = *time_s;
        if is_close {
            *time_s = first_s;
            count += 1;
        } else {
            first_s = *time_s;
        }
    }
    count
}

fn clock_report(offset_s: &[f64], repeated_count: u64, bunch_rows: Option<f64>) -> ClockReport {
    let mut steps: Vec<f64> = offset_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let mut report = ClockReport {
        median_rate_hz: 0.0,
        jitter_s: 0.0,
        gap_s_max: 0.0,
        gap_sample: 0,
        repeated_count,
        bunch_rows,
    };
    if steps.is_empty() {
        return report;
    }
    for (sample, &step_s) in steps.iter().enumerate() {
        if step_s > report.gap_s_max {
            report.gap_s_max = step_s;
            report.gap_sample = sample;
        }
    }
    report.jitter_s = (quantile(&mut steps, 0.95) - quantile(&mut steps, 0.05)) / 2.0;
    report.median_rate_hz = 1.0 / quantile(&mut steps, 0.5);
    report
}

/// Returns the value below which the share `share` of `values` lies (nearest rank); NaN for none.
pub(crate) fn quantile(values: &mut [f64], share: f64) -> f64 {
    let Some(last) = values.len().checked_sub(1) else {
        return f64::NAN;
    };
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a share of 0 to 1 of a length is a place"
    )]
    let place = (last as f64 * share).round() as usize;
    *values
        .select_nth_unstable_by(place.min(last), f64::total_cmp)
        .1
}
