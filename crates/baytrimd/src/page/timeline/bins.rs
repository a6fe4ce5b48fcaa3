//! A stretch of a pull in as many equal steps of time as a screen has room for: the lowest and highest of each,
//! and what became of most of it.

use baytrim_estimate::hat::HatFinder;
use baytrim_model::axis::Axes;
use baytrim_model::gate::GateName;
use serde::Serialize;

use crate::judged::JudgedRows;

/// The lowest and the highest value of each step; none where nothing was read.
#[derive(Debug, Default, Serialize)]
pub(super) struct Range {
    low: Vec<Option<f32>>,
    high: Vec<Option<f32>>,
}

/// A stretch of a pull.
#[derive(Debug, Default, Serialize)]
pub(super) struct Stretch {
    /// First and last second of the whole pull.
    pub(super) whole: [f64; 2],
    /// First and last second of the stretch.
    pub(super) shown: [f64; 2],
    /// Rows in the stretch.
    pub(super) row_count: usize,
    /// Middle of each step, seconds.
    pub(super) offset_s: Vec<f64>,
    pub(super) lambda: Range,
    pub(super) rpm: Range,
    pub(super) plate_percent: Range,
    /// Lambda wanted at the first row of each step.
    pub(super) target: Vec<Option<f64>>,
    /// What became of most of each step: a place in [`GateName::ALL`], none where accepted.
    pub(super) refused_by: Vec<Option<usize>>,
}

/// Returns a stretch of a pull in at most `bins` steps; fewer where it has fewer rows.
pub(super) fn stretch(
    rows: &JudgedRows,
    axes: &Axes,
    target_lambda: &[f64],
    [from, to]: [f64; 2],
    bins: usize,
) -> Stretch {
    let times = &rows.offset_s;
    let whole = [
        times.first().copied().unwrap_or(0.0),
        times.last().copied().unwrap_or(0.0),
    ];
    let (from, to) = (from.max(whole[0]), to.min(whole[1]));
    let start = times.partition_point(|&time| time < from);
    let end = times.partition_point(|&time| time <= to).max(start);
    let mut stretch = Stretch {
        whole,
        shown: [from, to],
        row_count: end - start,
        ..Stretch::default()
    };
    let mut finder = HatFinder::default();
    let width = (to - from).max(1e-9) / bins as f64;
    let exact = end - start <= bins;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "rows of the stretch lie from 0 to the number of bins"
    )]
    let bin = |row: usize| (((times[row] - from) / width) as usize).min(bins - 1);
    let mut first = start;
    while first < end {
        let mut last = first + 1;
        if !exact {
            while last < end && bin(last) == bin(first) {
                last += 1;
            }
        }
        let (rpm, plate) = (rows.rpm[first], rows.plate_percent[first]);
        let hat = finder.find(axes, f64::from(rpm), f64::from(plate));
        let target = hat.value(target_lambda);
        stretch.target.push(target.is_finite().then_some(target));
        stretch
            .offset_s
            .push(f64::midpoint(times[first], times[last - 1]));
        stretch.lambda.push(&rows.lambda[first..last]);
        stretch.rpm.push(&rows.rpm[first..last]);
        stretch.plate_percent.push(&rows.plate_percent[first..last]);
        stretch.refused_by.push(most(&rows.refused_by[first..last]));
        first = last;
    }
    stretch
}

impl Range {
    fn push(&mut self, values: &[f32]) {
        let read = values.iter().copied().filter(|value| value.is_finite());
        let (low, high) = read.fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        });
        let is_read = low <= high;
        self.low.push(is_read.then_some(low));
        self.high.push(is_read.then_some(high));
    }

    /// Returns the lowest and the highest value of steps.
    pub(super) fn over(&self, steps: std::ops::Range<usize>) -> Option<[f32; 2]> {
        let low = self.low[steps.clone()].iter().flatten();
        let high = self.high[steps].iter().flatten();
        let low = low.copied().reduce(f32::min)?;
        Some([low, high.copied().reduce(f32::max)?])
    }
}

/// Returns the gate that refused most of some rows; none where at least half were accepted.
fn most(rows: &[Option<GateName>]) -> Option<usize> {
    let refused: Vec<GateName> = rows.iter().copied().flatten().collect();
    if refused.len() * 2 <= rows.len() {
        return None;
    }
    let count = |gate: GateName| refused.iter().filter(|&&by| by == gate).count();
    (0..GateName::ALL.len()).max_by_key(|&place| count(GateName::ALL[place]))
}

#[cfg(test)]
mod tests {
    use super::stretch;
    use crate::judged::JudgedRows;
    use baytrim_model::axis::{Axes, Axis};
    use baytrim_model::gate::GateName;

    fn axes() -> Axes {
        Axes {
            rpm: Axis::new("rpm", vec![1000.0, 9000.0]).expect("sorted"),
            plate_percent: Axis::new("plate", vec![0.0, 100.0]).expect("sorted"),
        }
    }

    fn rows(count: u16) -> JudgedRows {
        let refused = |row: u16| (row >= count / 2).then_some(GateName::OverrunCut);
        JudgedRows {
            offset_s: (0..count).map(|row| f64::from(row) * 0.01).collect(),
            rpm: vec![3000.0; count.into()],
            plate_percent: vec![50.0; count.into()],
            lambda: (0..count)
                .map(|row| if row == 777 { 1.4 } else { 0.9 })
                .collect(),
            refused_by: (0..count).map(refused).collect(),
        }
    }

    /// If this fails, a spike of one row is not to be seen in a pull of thousands.
    #[test]
    fn a_spike_survives_thinning() {
        let found = stretch(&rows(10_000), &axes(), &[0.9; 4], [0.0, 1e9], 300);
        assert!((290..=300).contains(&found.offset_s.len()));
        let [low, high] = found.lambda.over(0..found.offset_s.len()).expect("read");
        assert!((low - 0.9).abs() < 1e-6 && (high - 1.4).abs() < 1e-6);
        assert_eq!(found.row_count, 10_000);
        let refused = found.refused_by.iter().flatten().count();
        assert!((145..=155).contains(&refused), "{refused}");
        assert!(found.whole[0].abs() < 1e-9 && (found.whole[1] - 99.99).abs() < 1e-9);
    }

    /// If this fails, a closer look shows something else than the rows.
    #[test]
    fn few_rows_are_shown_as_they_are() {
        let found = stretch(&rows(1000), &axes(), &[0.9; 4], [7.7, 7.8], 300);
        assert_eq!(found.row_count, found.offset_s.len());
        assert!((10..=11).contains(&found.row_count));
        assert!((found.lambda.over(7..8).expect("read")[0] - 1.4).abs() < 1e-6);
        let none = stretch(&JudgedRows::default(), &axes(), &[0.9; 4], [0.0, 9.0], 300);
        assert!(none.offset_s.is_empty());
    }
}
