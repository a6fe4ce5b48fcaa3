//! Smoothing and slope by straight lines through windows, with the bandwidth that goes with it.

/// Frequency times window at which a moving average lets through 1/sqrt 2: sin(x)/x at x = 1.39156, over pi.
const AVERAGE_BANDWIDTH: f64 = 0.442_946;

/// The same for the slope of the line: 3 (sin x - x cos x)/x^3 at x = 1.81482, over pi.
const SLOPE_BANDWIDTH: f64 = 0.577_676;

/// A value and its slope at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LocalLine {
    /// The smoothed value.
    pub value: f64,
    /// Its change a second.
    pub slope_per_s: f64,
    /// Standard error of the value by the scatter of the readings about the line; they are taken to be independent.
    pub value_error: f64,
    /// Standard error of the slope likewise.
    pub slope_error: f64,
}

/// Returns the highest frequency, Hz, that smoothing over `window_s` seconds leaves in the value.
pub fn value_bandwidth_hz(window_s: f64) -> f64 {
    AVERAGE_BANDWIDTH / window_s
}

/// Returns the highest frequency, Hz, that it leaves in the slope.
pub fn slope_bandwidth_hz(window_s: f64) -> f64 {
    SLOPE_BANDWIDTH / window_s
}

/// Returns the least-squares line through the readings within half of `window_s` on either side of each,
/// none where fewer than three are there or the window reaches beyond an end of the log.
///
/// Readings that are NaN are left out; `offset_s` and `values` have one length.
///
/// # Panics
/// Where they have not.
pub fn local_lines(offset_s: &[f64], values: &[f64], window_s: f64) -> Vec<Option<LocalLine>> {
    assert_eq!(offset_s.len(), values.len(), "a value for each moment");
    // A hair more, so that a window of ten periods holds its two ends whatever their rounding.
    let half_s = 0.5 * window_s * (1.0 + 1e-9);
    let (first_s, last_s) = match (offset_s.first(), offset_s.last()) {
        (Some(first), Some(last)) => (*first, *last),
        _ => return Vec::new(),
    };
    let at = |&here: &f64| {
        if here - half_s < first_s - 1e-9 || here + half_s > last_s + 1e-9 {
            return None;
        }
        let begin = offset_s.partition_point(|&offset| offset < here - half_s);
        let end = offset_s.partition_point(|&offset| offset <= here + half_s);
        line(here, &offset_s[begin..end], &values[begin..end])
    };
    offset_s.iter().map(at).collect()
}

fn line(here: f64, offset_s: &[f64], values: &[f64]) -> Option<LocalLine> {
    let readings = || {
        offset_s
            .iter()
            .zip(values)
            .filter(|(_, value)| !value.is_nan())
    };
    let count = readings().count();
    if count < 3 {
        return None;
    }
    let mean = |sum: f64| sum / count as f64;
    let mean_s = mean(readings().map(|(offset, _)| offset - here).sum());
    let mean_value = mean(readings().map(|(_, value)| value).sum());
    let (mut square, mut product) = (0.0, 0.0);
    for (offset, value) in readings() {
        let from_mean_s = offset - here - mean_s;
        square += from_mean_s * from_mean_s;
        product += from_mean_s * (value - mean_value);
    }
    let slope_per_s = product / square;
    let value_at = |from_here_s: f64| mean_value + slope_per_s * (from_here_s - mean_s);
    let left: f64 = readings()
        .map(|(offset, value)| (value - value_at(offset - here)).powi(2))
        .sum();
    let variance = left / (count as f64 - 2.0);
    Some(LocalLine {
        value: value_at(0.0),
        slope_per_s,
        value_error: (variance * (1.0 / count as f64 + mean_s * mean_s / square)).sqrt(),
        slope_error: (variance / square).sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(frequency_hz: f64) -> (Vec<f64>, Vec<f64>) {
        let offset_s: Vec<f64> = (0..4000).map(|row| f64::from(row) / 1000.0).collect();
        let turn = std::f64::consts::TAU * frequency_hz;
        let values = offset_s
            .iter()
            .map(|offset| (turn * offset).sin())
            .collect();
        (offset_s, values)
    }

    /// If this fails, the bandwidth that is printed beside a curve is not that of its smoothing: a sine of
    /// that frequency must come through at 1/sqrt 2 of its height (definition of the half-power bandwidth).
    #[test]
    fn a_sine_at_the_bandwidth_comes_through_at_half_power() {
        let window_s = 0.2;
        let peak = |values: Vec<f64>| values.into_iter().fold(0.0, f64::max);
        let through = |frequency_hz: f64, part: fn(LocalLine) -> f64| {
            let (offset_s, values) = sine(frequency_hz);
            let lines = local_lines(&offset_s, &values, window_s);
            peak(lines.into_iter().flatten().map(part).collect())
        };
        let half_power = std::f64::consts::FRAC_1_SQRT_2;
        let value = through(value_bandwidth_hz(window_s), |line| line.value);
        assert!((value - half_power).abs() < 0.005, "{value}");
        let frequency_hz = slope_bandwidth_hz(window_s);
        let slope = through(frequency_hz, |line| line.slope_per_s);
        let share = slope / (std::f64::consts::TAU * frequency_hz);
        assert!((share - half_power).abs() < 0.01, "{share}");
    }

    /// If this fails, a uniform log is smoothed otherwise than by the reference: `scipy.signal.savgol_filter`
    /// 1.17.1 with order 1, window 5, of 0, 1, 4, 9, 16, 20, 22 at 0.1 s (values at places 2 to 4).
    #[test]
    fn lines_are_those_of_savitzky_and_golay() {
        let offset_s: Vec<f64> = (0..7).map(|row| f64::from(row) * 0.1).collect();
        let values = [0.0, 1.0, 4.0, 9.0, 16.0, 20.0, 22.0];
        let lines = local_lines(&offset_s, &values, 0.4);
        assert!(
            lines[1].is_none() && lines[5].is_none(),
            "no window beyond the ends"
        );
        // Errors: `scipy.stats.linregress` 1.17.1 of the same five points each.
        for (place, value, slope, error) in [
            (2, 6.0, 40.0, 6.831_300_510_639_713),
            (3, 10.0, 50.0, 3.651_483_716_701_117),
            (4, 14.2, 47.0, 5.131_601_439_446_855),
        ] {
            let line = lines[place].unwrap();
            assert!((line.slope_error - error).abs() < 1e-9, "{place} {line:?}");
            assert!((line.value - value).abs() < 1e-9, "{place} {line:?}");
            assert!((line.slope_per_s - slope).abs() < 1e-9, "{place} {line:?}");
        }
    }
}
