//! The times at which the rider's hand stood still.

use std::collections::BTreeMap;

use baytrim_model::channel::Quantity;
use baytrim_model::grip::{GripCell, PullGrip};
use baytrim_model::samples::Samples;

pub use baytrim_model::grip::Stay;

/// Most stays that a pull's record keeps: more than a day of holds, and a record stays small.
pub const STAYS_MAX: usize = 400;

/// Width of a cell of the surface in percent of grip, and of the places that stays are gathered around.
pub const GRIP_STEP_PERCENT: f64 = 5.0;

/// Height of a cell of the surface in rpm.
const SPEED_STEP_RPM: f64 = 1000.0;

/// What counts as standing still.
#[derive(Debug, Clone, PartialEq)]
pub struct StayRules {
    /// Furthest that the grip may be from where it began to stand, percent.
    pub grip_tolerance_percent: f64,
    /// Shortest stay after the plate has settled, seconds.
    pub duration_s_min: f64,
    /// What is left out of its beginning, while the plate still moves, seconds.
    pub settle_s: f64,
    /// Least range of engine speed from which a drift is told, rpm.
    pub span_rpm_min: f64,
}

impl Default for StayRules {
    fn default() -> Self {
        Self {
            grip_tolerance_percent: 1.0,
            duration_s_min: 0.5,
            settle_s: 0.3,
            span_rpm_min: 800.0,
        }
    }
}

/// Returns every stay of a log, in its order; none where grip, plate or speed are not logged.
pub fn stays(samples: &Samples, rules: &StayRules) -> Vec<Stay> {
    found(samples, rules)
        .into_iter()
        .map(|(stay, _)| stay)
        .collect()
}

/// Returns what a pull's record keeps of how the plate followed the hand; none where it tells nothing.
pub fn pull_grip(samples: &Samples, rules: &StayRules) -> Option<PullGrip> {
    let found = found(samples, rules);
    let channels = channels(samples)?;
    if found.is_empty() {
        return None;
    }
    let rows = found.iter().flat_map(|(_, rows)| rows.iter().copied());
    let cells = cells(channels, rows);
    let kept = found.len().min(STAYS_MAX);
    let places = (0..kept).map(|place| place * found.len() / kept);
    Some(PullGrip {
        stays: places.map(|place| found[place].0).collect(),
        left_out_count: u32::try_from(found.len() - kept).unwrap_or(u32::MAX),
        cells,
    })
}

fn channels(samples: &Samples) -> Option<[&[f64]; 3]> {
    let channel = |quantity| samples.channel(quantity);
    Some([
        channel(Quantity::GripAngle)?,
        channel(Quantity::PlateAngle)?,
        channel(Quantity::EngineSpeed)?,
    ])
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "percent and rpm are far below 2^63"
)]
fn cells([grip, plate, rpm]: [&[f64]; 3], rows: impl Iterator<Item = usize>) -> Vec<GripCell> {
    let mut sums: BTreeMap<(i64, i64), (f64, u32)> = BTreeMap::new();
    for row in rows {
        let place = (
            (grip[row] / GRIP_STEP_PERCENT).round() as i64,
            (rpm[row] / SPEED_STEP_RPM).round() as i64,
        );
        let sum = sums.entry(place).or_default();
        sum.0 += plate[row];
        sum.1 += 1;
    }
    let cell = |(&(grip, speed), &(sum, row_count)): (&(i64, i64), &(f64, u32))| GripCell {
        grip_percent: grip as f64 * GRIP_STEP_PERCENT,
        rpm: speed as f64 * SPEED_STEP_RPM,
        plate_percent: sum / f64::from(row_count),
        row_count,
    };
    sums.iter().map(cell).collect()
}

fn found(samples: &Samples, rules: &StayRules) -> Vec<(Stay, Vec<usize>)> {
    let Some([grip, plate, rpm]) = channels(samples) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut begin = 0;
    while begin < samples.len() {
        let stands = |row: &usize| (grip[*row] - grip[begin]).abs() <= rules.grip_tolerance_percent;
        let end = (begin..samples.len())
            .find(|row| !stands(row))
            .unwrap_or(samples.len());
        let settled_s = samples.offset_s[begin] + rules.settle_s;
        let rows: Vec<usize> = (begin..end)
            .filter(|&row| samples.offset_s[row] >= settled_s)
            .filter(|&row| !(plate[row].is_nan() || rpm[row].is_nan()))
            .collect();
        if let Some(stay) = stay(samples, &rows, [grip, plate, rpm], rules) {
            found.push((stay, rows));
        }
        begin = end.max(begin + 1);
    }
    found
}

fn stay(
    samples: &Samples,
    rows: &[usize],
    [grip, plate, rpm]: [&[f64]; 3],
    rules: &StayRules,
) -> Option<Stay> {
    let (first, last) = (rows.first()?, rows.last()?);
    if rows.len() < 5 || samples.offset_s[*last] - samples.offset_s[*first] < rules.duration_s_min {
        return None;
    }
    let mean =
        |channel: &[f64]| rows.iter().map(|&row| channel[row]).sum::<f64>() / rows.len() as f64;
    let (mean_plate, mean_rpm) = (mean(plate), mean(rpm));
    let speeds = || rows.iter().map(|&row| rpm[row]);
    let span_rpm = speeds().fold(f64::MIN, f64::max) - speeds().fold(f64::MAX, f64::min);
    let square: f64 = speeds().map(|speed| (speed - mean_rpm).powi(2)).sum();
    let products = rows
        .iter()
        .map(|&row| (rpm[row] - mean_rpm) * (plate[row] - mean_plate));
    Some(Stay {
        grip_percent: mean(grip),
        plate_percent: mean_plate,
        rpm: mean_rpm,
        drift_percent_per_1000_rpm: (span_rpm >= rules.span_rpm_min)
            .then(|| 1000.0 * products.sum::<f64>() / square),
    })
}
