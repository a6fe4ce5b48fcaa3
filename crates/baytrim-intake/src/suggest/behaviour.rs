//! What the numbers of a column do, whatever their name.

use crate::clock::quantile;

use super::table::RawColumn;

/// Most different values that are counted.
const DISTINCT_MAX: usize = 200;

/// What the numbers of a column do.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Behaviour {
    /// Numbers there.
    pub count: usize,
    /// Cells without one.
    pub missing_count: usize,
    /// Smallest; this and the four below leave the stop value out.
    pub low: f64,
    /// Hundredth from below.
    pub percent_1: f64,
    /// Median.
    pub median: f64,
    /// Hundredth from above.
    pub percent_99: f64,
    /// Largest.
    pub high: f64,
    /// Rows at the largest value to the bit.
    pub high_count: usize,
    /// Different values, counted up to two hundred.
    pub distinct_count: usize,
    /// Rows after which the value changes, on average; 1 where it changes with each.
    pub hold_rows: f64,
    /// Share of steps that go down.
    pub falling_share: f64,
    /// Share of steps that stand still.
    pub still_share: f64,
    /// Median of the steps that go up.
    pub step: f64,
    /// Value that stands far outside the others and is always the same, where there is one.
    pub stop_value: Option<f64>,
}

impl Behaviour {
    /// Returns what the numbers of `column` do; none where there are no numbers.
    pub(super) fn of(column: &RawColumn) -> Option<Self> {
        let mut numbers: Vec<f64> = column
            .values
            .iter()
            .copied()
            .filter(|value| !value.is_nan())
            .collect();
        if numbers.is_empty() {
            return None;
        }
        let steps = Steps::of(&numbers);
        let count = numbers.len();
        let ends = numbers
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |ends, &number| {
                (ends.0.min(number), ends.1.max(number))
            });
        let stop_value = stop_value(&numbers, ends.0, ends.1);
        if let Some(stop) = stop_value {
            numbers.retain(|number| number.to_bits() != stop.to_bits());
        }
        let distinct_count = distinct(&numbers);
        let mut at = |share| quantile(&mut numbers, share);
        let (low, percent_1, median) = (at(0.0), at(0.01), at(0.5));
        let (percent_99, high) = (at(0.99), at(1.0));
        Some(Self {
            count,
            missing_count: column.values.len() - count,
            low,
            percent_1,
            median,
            percent_99,
            high,
            high_count: numbers.iter().filter(|number| **number >= high).count(),
            distinct_count,
            hold_rows: count as f64 / (steps.up.len() + steps.down_count + 1) as f64,
            falling_share: steps.down_count as f64 / (count.max(2) - 1) as f64,
            still_share: steps.still_count as f64 / (count.max(2) - 1) as f64,
            step: steps.median_up(),
            stop_value,
        })
    }

    /// Returns whether the column never changes.
    pub(super) fn is_constant(&self) -> bool {
        self.low >= self.high
    }

    /// Returns whether all numbers are 0 or 1.
    pub(super) fn is_flag(&self, column: &RawColumn) -> bool {
        let is_bit =
            |value: &f64| value.is_nan() || *value == 0.0 || (*value - 1.0).abs() < f64::EPSILON;
        self.distinct_count <= 2 && column.values.iter().all(is_bit)
    }
}

struct Steps {
    up: Vec<f64>,
    down_count: usize,
    still_count: usize,
}

impl Steps {
    fn of(numbers: &[f64]) -> Self {
        let mut steps = Self {
            up: Vec::new(),
            down_count: 0,
            still_count: 0,
        };
        for pair in numbers.windows(2) {
            let step = pair[1] - pair[0];
            if step > 0.0 {
                steps.up.push(step);
            } else if step < 0.0 {
                steps.down_count += 1;
            } else {
                steps.still_count += 1;
            }
        }
        steps
    }

    fn median_up(&self) -> f64 {
        quantile(&mut self.up.clone(), 0.5)
    }
}

fn distinct(numbers: &[f64]) -> usize {
    let mut seen = std::collections::HashSet::new();
    for number in numbers {
        if seen.len() > DISTINCT_MAX {
            break;
        }
        seen.insert(number.to_bits());
    }
    seen.len()
}

/// Returns the one value beyond a wide gap at the end of the range that many rows share to the bit:
/// what a logger writes for no reading, or a meter at its stop.
fn stop_value(numbers: &[f64], low: f64, high: f64) -> Option<f64> {
    for stop in [high, low] {
        let others = numbers
            .iter()
            .copied()
            .filter(|number| number.to_bits() != stop.to_bits());
        let (near, far) = others.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), number| {
            (low.min(number), high.max(number))
        });
        let spread = far - near;
        let gap = (stop - far).max(near - stop);
        let same_count = numbers
            .iter()
            .filter(|number| number.to_bits() == stop.to_bits())
            .count();
        if spread > 0.0 && gap > spread.max(f64::MIN_POSITIVE) && same_count >= 2 {
            return Some(stop);
        }
    }
    None
}
