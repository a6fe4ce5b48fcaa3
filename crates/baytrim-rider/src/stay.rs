//! The times at which the rider's hand stood still.

use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;

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

/// One time at which the hand stood still.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stay {
    /// Mean grip, percent.
    pub grip_percent: f64,
    /// Mean plate, percent.
    pub plate_percent: f64,
    /// Change of the plate over 1000 rpm, percent; none where engine speed hardly changed.
    pub drift_percent_per_1000_rpm: Option<f64>,
}

/// Returns every stay of a log, in its order; none where grip, plate or speed are not logged.
pub fn stays(samples: &Samples, rules: &StayRules) -> Vec<Stay> {
    let [grip, plate, rpm] = [
        Quantity::GripAngle,
        Quantity::PlateAngle,
        Quantity::EngineSpeed,
    ]
    .map(|quantity| samples.channel(quantity));
    let (Some(grip), Some(plate), Some(rpm)) = (grip, plate, rpm) else {
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
        found.extend(stay(samples, &rows, [grip, plate, rpm], rules));
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
        drift_percent_per_1000_rpm: (span_rpm >= rules.span_rpm_min)
            .then(|| 1000.0 * products.sum::<f64>() / square),
    })
}
