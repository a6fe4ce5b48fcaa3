//! A change of the engine told from the drift of a day.
//!
//! Analysis of covariance with one slope: y = state + drift * time. The drift is taken from pulls of one state
//! at different times; what is left between the states is the engine.

use crate::compare::{Verdict, mean, verdict};
use crate::student::quantile;

/// One pull: when it was and what it gave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedPull {
    /// Hours since the first pull of the day.
    pub time_h: f64,
    /// Its number, such as mean log power.
    pub value: f64,
    /// Whether it was after the change.
    pub is_after: bool,
}

/// What of a difference is drift, and what the engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    /// Change an hour of one and the same state.
    pub drift_per_h: f64,
    /// Its 95 % interval.
    pub drift_interval: (f64, f64),
    /// The state's change at one and the same time.
    pub change: f64,
    /// Its 95 % interval; wide where the two states were hours apart and each was over in minutes.
    pub change_interval: (f64, f64),
    /// What the change is worth.
    pub verdict: Verdict,
}

/// Returns drift and change, none where there are fewer than four pulls, a state has none, or no state was
/// measured at two times: then morning and afternoon cannot be told from before and after.
pub fn drift(pulls: &[TimedPull]) -> Option<Drift> {
    let state = |is_after: bool| -> (Vec<f64>, Vec<f64>) {
        let of = pulls.iter().filter(|pull| pull.is_after == is_after);
        of.map(|pull| (pull.time_h, pull.value)).unzip()
    };
    let states = [state(false), state(true)];
    if pulls.len() < 4 || states.iter().any(|(times, _)| times.is_empty()) {
        return None;
    }
    let (mut square, mut product, mut spread) = (0.0, 0.0, 0.0);
    for (times, values) in &states {
        let (time, value) = (mean(times), mean(values));
        for (t, y) in times.iter().zip(values) {
            square += (t - time).powi(2);
            product += (t - time) * (y - value);
            spread += (y - value).powi(2);
        }
    }
    // A second apart is one time.
    if square < (1.0 / 3600.0_f64).powi(2) {
        return None;
    }
    let drift_per_h = product / square;
    let freedom = pulls.len() as f64 - 3.0;
    let residual = ((spread - drift_per_h * product) / freedom).max(0.0);
    let [(first_times, first), (second_times, second)] = &states;
    let apart_h = mean(second_times) - mean(first_times);
    let change = mean(second) - mean(first) - drift_per_h * apart_h;
    let share = 1.0 / first.len() as f64 + 1.0 / second.len() as f64 + apart_h.powi(2) / square;
    let t = quantile(0.975, freedom);
    let around = |middle: f64, variance: f64| {
        let half = t * variance.sqrt();
        (middle - half, middle + half)
    };
    let change_interval = around(change, residual * share);
    Some(Drift {
        drift_per_h,
        drift_interval: around(drift_per_h, residual / square),
        change,
        change_interval,
        verdict: verdict(change_interval),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pulls(of: &[(f64, f64, bool)]) -> Vec<TimedPull> {
        of.iter()
            .map(|&(time_h, value, is_after)| TimedPull {
                time_h,
                value,
                is_after,
            })
            .collect()
    }

    /// If this fails, the warmth of the afternoon is taken for the tuner's work, or the other way round:
    /// ordinary least squares with `numpy.linalg.lstsq` 2.4.6 and `scipy.stats.t`, by
    /// `tests/oracles/compare.py`.
    #[test]
    fn drift_and_change_are_those_of_least_squares() {
        let day = pulls(&[
            (0.0, 4.400, false),
            (0.4, 4.396, false),
            (0.9, 4.391, false),
            (3.0, 4.370, true),
            (3.5, 4.364, true),
            (4.0, 4.361, true),
        ]);
        let found = drift(&day).unwrap();
        let numbers = [
            found.drift_per_h,
            found.drift_interval.0,
            found.drift_interval.1,
            found.change,
            found.change_interval.0,
            found.change_interval.1,
        ];
        let expected = [
            -0.009_448_529_411_766_458,
            -0.011_982_365_995_480_459,
            -0.006_914_692_828_052_458,
            -0.001_691_176_470_585_959_3,
            -0.009_707_431_700_455_568,
            0.006_325_078_759_283_649,
        ];
        for (number, expected) in numbers.into_iter().zip(expected) {
            assert!((number - expected).abs() < 1e-9, "{found:?}");
        }
        assert_eq!(
            found.verdict,
            Verdict::InsideTheNoise,
            "the fall is the day's"
        );
        let raw = crate::compare::compare(&[4.400, 4.396, 4.391], &[4.370, 4.364, 4.361]);
        assert_eq!(
            raw.verdict,
            Verdict::Less,
            "which the pulls alone would blame on the engine"
        );
    }

    /// If this fails, two states that were each measured once pass for told apart from the day.
    #[test]
    fn states_measured_at_one_time_each_cannot_be_told_from_the_day() {
        let once = [
            (0.0, 4.40, false),
            (0.0, 4.39, false),
            (5.0, 4.37, true),
            (5.0, 4.36, true),
        ];
        assert_eq!(drift(&pulls(&once)), None);
    }
}
