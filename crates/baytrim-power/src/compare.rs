//! Whether two states of an engine differ by more than pulls of one state do.

use crate::student::quantile;

/// Fewest pulls of each state; one pull says nothing of repeatability.
pub const PULLS_MIN: usize = 2;

/// What a difference is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The second state has more: the whole interval is above 0.
    More,
    /// The second state has less: the whole interval is below 0.
    Less,
    /// The difference is inside the noise of the pulls.
    InsideTheNoise,
    /// A state has fewer than two pulls.
    CannotBeTold,
}

/// How the pulls of two states compare.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparison {
    /// The mean of the second state less that of the first.
    pub difference: f64,
    /// Its 95 % interval, none where a state has fewer than two pulls.
    pub interval: Option<(f64, f64)>,
    /// Standard deviation of repeated pulls, pooled over both states, none likewise.
    pub repeatability: Option<f64>,
    /// What it is worth.
    pub verdict: Verdict,
}

/// Returns the difference of two states, each a list of one number a pull, by Welch's interval (Welch,
/// Biometrika 34 (1947) 28), which does not take the two to be equally repeatable.
///
/// Numbers are the mean log power of [`crate::PowerCurve`], so that 0.01 is about 1 %, or any other.
///
/// # Panics
/// Where a list is empty.
pub fn compare(first: &[f64], second: &[f64]) -> Comparison {
    assert!(
        !first.is_empty() && !second.is_empty(),
        "each state has a pull"
    );
    let difference = mean(second) - mean(first);
    if first.len() < PULLS_MIN || second.len() < PULLS_MIN {
        return Comparison {
            difference,
            interval: None,
            repeatability: None,
            verdict: Verdict::CannotBeTold,
        };
    }
    let [(a, a_freedom), (b, b_freedom)] =
        [first, second].map(|pulls| (squares(pulls), pulls.len() as f64 - 1.0));
    let [a_share, b_share] = [
        a / a_freedom / first.len() as f64,
        b / b_freedom / second.len() as f64,
    ];
    let variance = a_share + b_share;
    let freedom = variance.powi(2) / (a_share.powi(2) / a_freedom + b_share.powi(2) / b_freedom);
    // Pulls that agree to the last digit leave no noise and no degrees of freedom.
    let half = if variance > 0.0 {
        quantile(0.975, freedom) * variance.sqrt()
    } else {
        0.0
    };
    let interval = (difference - half, difference + half);
    Comparison {
        difference,
        interval: Some(interval),
        repeatability: Some(((a + b) / (a_freedom + b_freedom)).sqrt()),
        verdict: verdict(interval),
    }
}

/// Returns what an interval of a difference says.
pub(crate) fn verdict((low, high): (f64, f64)) -> Verdict {
    if low > 0.0 {
        Verdict::More
    } else if high < 0.0 {
        Verdict::Less
    } else {
        Verdict::InsideTheNoise
    }
}

pub(crate) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn squares(values: &[f64]) -> f64 {
    let middle = mean(values);
    values.iter().map(|value| (value - middle).powi(2)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pulls before, pulls after, the reference's interval, the verdict.
    type Case = (&'static [f64], &'static [f64], (f64, f64), Verdict);

    /// If this fails, a gain is called one that is inside the noise, or noise a gain: `scipy.stats.ttest_ind`
    /// 1.17.1 with `equal_var=False`, `confidence_interval(0.95)`, by `tests/oracles/compare.py`.
    #[test]
    fn intervals_are_those_of_the_reference() {
        let cases: [Case; 3] = [
            (
                &[4.40, 4.41, 4.39],
                &[4.46, 4.45, 4.47, 4.44],
                (0.032_682_885_186_612_71, 0.077_317_114_813_388_49),
                Verdict::More,
            ),
            (
                &[4.40, 4.43, 4.38],
                &[4.42, 4.41, 4.45],
                (-0.029_753_740_488_543_04, 0.076_420_407_155_209_9),
                Verdict::InsideTheNoise,
            ),
            (
                &[4.40, 4.41],
                &[4.31, 4.30, 4.305],
                (-0.129_884_987_241_291_77, -0.070_115_012_758_709_3),
                Verdict::Less,
            ),
        ];
        for (first, second, (low, high), expected) in cases {
            let found = compare(first, second);
            let interval = found.interval.unwrap();
            assert!((interval.0 - low).abs() < 1e-9, "{found:?}");
            assert!((interval.1 - high).abs() < 1e-9, "{found:?}");
            assert_eq!(found.verdict, expected);
        }
    }

    /// If this fails, one pull against one passes for a measurement of a difference.
    #[test]
    fn one_pull_tells_nothing() {
        let found = compare(&[4.0], &[4.1, 4.2]);
        assert_eq!(
            (found.interval, found.verdict),
            (None, Verdict::CannotBeTold)
        );
    }
}
