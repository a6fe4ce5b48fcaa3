//! Brings a channel onto the clock of another without inventing readings.

use crate::clock::quantile;

/// Readings further apart than this many of the channel's own ordinary periods are not joined: one
/// lost reading is bridged, a pause is not.
const PERIODS_JOINED_MAX: f64 = 2.5;

/// How a channel lies between its readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Between {
    /// On a straight line: speeds, openings, temperatures, pressures.
    Line,
    /// At the last reading, until the next: flags.
    Last,
}

/// Returns the values of a channel at `times_s`; NaN where its readings do not reach.
///
/// `own_s` are the times of `values`, neither list goes backwards, and both are in seconds. A
/// channel on a line is joined over at most two and a half of its own median periods, and goes on
/// from its first and last reading for half a period. A flag stands from its first reading on.
pub(crate) fn align(own_s: &[f64], values: &[f64], times_s: &[f64], between: Between) -> Vec<f64> {
    debug_assert_eq!(own_s.len(), values.len(), "one time per value");
    let mut steps: Vec<f64> = own_s
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .filter(|step_s| *step_s > 0.0)
        .collect();
    // A single reading speaks for its own moment only.
    let period_s = if steps.is_empty() {
        0.0
    } else {
        quantile(&mut steps, 0.5)
    };
    let mut next = 0;
    times_s
        .iter()
        .map(|&time_s| {
            while next < own_s.len() && own_s[next] <= time_s {
                next += 1;
            }
            let before = next
                .checked_sub(1)
                .map(|index| (own_s[index], values[index]));
            let after = own_s.get(next).map(|&own_s| (own_s, values[next]));
            match between {
                Between::Last => before.map_or(f64::NAN, |(_, value)| value),
                Between::Line => on_line(before, after, time_s, period_s),
            }
        })
        .collect()
}

/// A reading: its time and its value.
type Reading = (f64, f64);

fn on_line(before: Option<Reading>, after: Option<Reading>, time_s: f64, period_s: f64) -> f64 {
    match (before, after) {
        (Some((before_s, value)), _) if before_s >= time_s => value,
        (Some((before_s, low)), Some((after_s, high))) => {
            if after_s - before_s > PERIODS_JOINED_MAX * period_s {
                // At the edges of a pause as at those of the log.
                let nearer = if time_s - before_s <= after_s - time_s {
                    (before_s, low)
                } else {
                    (after_s, high)
                };
                return at_end(nearer, time_s, period_s);
            }
            let share = (time_s - before_s) / (after_s - before_s);
            low + (high - low) * share
        }
        (Some(end), None) | (None, Some(end)) => at_end(end, time_s, period_s),
        (None, None) => f64::NAN,
    }
}

fn at_end((own_s, value): Reading, time_s: f64, period_s: f64) -> f64 {
    if (time_s - own_s).abs() <= period_s / 2.0 {
        value
    } else {
        f64::NAN
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn same(found: &[f64], expected: &[f64]) {
        let is_same = |(a, b): (&f64, &f64)| a.is_nan() && b.is_nan() || (a - b).abs() < 1e-12;
        assert!(
            found.len() == expected.len() && found.iter().zip(expected).all(is_same),
            "{found:?}, not {expected:?}"
        );
    }

    /// A slow channel would come out as steps, or go on where nobody measured it.
    #[test]
    fn a_line_joins_neighbours_and_no_more() {
        let own_s = [1.0, 2.0, 3.0, 5.0, 9.0, 10.0];
        let values = [10.0, 20.0, 30.0, 50.0, 90.0, 100.0];
        let times_s = [
            0.4, 0.6, 1.0, 1.25, 2.5, 4.0, 5.4, 7.0, 8.6, 9.5, 10.4, 10.6,
        ];
        let nan = f64::NAN;
        let expected = [
            nan, 10.0, 10.0, 12.5, 25.0, 40.0, 50.0, nan, 90.0, 95.0, 100.0, nan,
        ];
        same(&align(&own_s, &values, &times_s, Between::Line), &expected);
    }

    /// A flag between on and off would be read as half on.
    #[test]
    fn a_flag_stands_until_it_changes() {
        let times_s = [0.5, 1.0, 1.9, 2.0, 50.0];
        let found = align(&[1.0, 2.0], &[1.0, 0.0], &times_s, Between::Last);
        same(&found, &[f64::NAN, 1.0, 1.0, 0.0, 0.0]);
    }

    /// A lost reading must not be bridged by its neighbours as if it had been taken.
    #[test]
    fn readings_that_are_none_stay_none() {
        let nan = f64::NAN;
        let found = align(
            &[0.0, 1.0, 2.0],
            &[1.0, nan, 3.0],
            &[0.0, 0.5, 1.0, 1.5, 2.0],
            Between::Line,
        );
        same(&found, &[1.0, nan, nan, nan, 3.0]);
        same(&align(&[], &[], &[0.0], Between::Line), &[nan]);
        same(
            &align(&[1.0], &[7.0], &[0.9, 1.0, 1.1], Between::Line),
            &[nan, 7.0, nan],
        );
    }
}
