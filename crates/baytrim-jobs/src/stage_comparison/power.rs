//! Power of two stages, where their pulls tell it.

use baytrim_model::ids::PullId;
use baytrim_model::power::{PowerPoint, PullPower};
use baytrim_power::{Comparison, compare};

use crate::state::JobState;

/// Power of two stages.
#[derive(Debug, Clone, PartialEq)]
pub struct StagePower {
    /// Change of mean power over the speeds that all curves have, percent; of torque it is the same.
    pub change: Comparison,
    /// Most power of each stage, the mean over its pulls, kilowatt.
    pub peak_kw: [f64; 2],
    /// Most torque of each stage, the mean over its pulls, Nm.
    pub peak_nm: [f64; 2],
    /// Pulls of each stage that tell power.
    pub pull_count: [usize; 2],
    /// Whether power was corrected to standard air; else as measured.
    pub is_corrected: bool,
    /// Lowest and highest speed that all curves have, rpm.
    pub speeds_rpm: (f64, f64),
}

/// Returns the power of the pulls of two stages; none where one has no curve, or no speed is common to all.
pub(super) fn of_stages(state: &JobState, pulls: [&[PullId]; 2]) -> Option<StagePower> {
    let of = |pulls: &[PullId]| -> Vec<&PullPower> {
        let entries = pulls.iter().filter_map(|&pull| state.pull(pull).ok());
        let told = entries.filter_map(|entry| entry.record.summary.power.as_ref());
        told.filter(|power| !power.points.is_empty()).collect()
    };
    let sides = pulls.map(of);
    if sides.iter().any(Vec::is_empty) {
        return None;
    }
    let mut all = sides.iter().flatten();
    let is_corrected = all.all(|power| power.correction.is_some());
    let speeds = common_speeds(&sides);
    let ends = speeds.first().copied().zip(speeds.last().copied())?;
    let factor = |power: &PullPower| {
        if is_corrected {
            power.factor()
        } else {
            Some(1.0)
        }
    };
    let logs = |side: &Vec<&PullPower>| -> Option<Vec<f64>> {
        let pulls = side.iter();
        pulls
            .map(|power| Some(100.0 * (mean_log(power, &speeds)? + factor(power)?.ln())))
            .collect()
    };
    let mean = |side: &Vec<&PullPower>, of: &dyn Fn(&PullPower) -> Option<f64>| {
        let values: Option<Vec<f64>> = side.iter().map(|power| of(power)).collect();
        values.map(|values| values.iter().sum::<f64>() / values.len() as f64)
    };
    let power = |told: &PullPower| Some(told.peaks()?.0.power_kw * factor(told)?);
    let torque = |told: &PullPower| Some(told.peaks()?.1.torque_nm * factor(told)?);
    let [one, other] = &sides;
    Some(StagePower {
        change: compare(&logs(one)?, &logs(other)?),
        peak_kw: [mean(one, &power)?, mean(other, &power)?],
        peak_nm: [mean(one, &torque)?, mean(other, &torque)?],
        pull_count: [one.len(), other.len()],
        is_corrected,
        speeds_rpm: ends,
    })
}

/// Returns the speeds at which every curve has a point with power, slowest first.
fn common_speeds(sides: &[Vec<&PullPower>; 2]) -> Vec<f64> {
    let mut all = sides.iter().flatten();
    let Some(first) = all.next() else {
        return Vec::new();
    };
    let others: Vec<_> = all.collect();
    let speeds = first.points.iter().map(|point| point.engine_speed_rpm);
    speeds
        .filter(|&speed| others.iter().all(|power| at(power, speed).is_some()))
        .collect()
}

fn at(power: &PullPower, speed_rpm: f64) -> Option<&PowerPoint> {
    let mut points = power.points.iter();
    points.find(|point| (point.engine_speed_rpm - speed_rpm).abs() < 1e-6 && point.power_kw > 0.0)
}

fn mean_log(power: &PullPower, speeds_rpm: &[f64]) -> Option<f64> {
    let logs: Option<Vec<f64>> = speeds_rpm
        .iter()
        .map(|&speed| Some(at(power, speed)?.power_kw.ln()))
        .collect();
    logs.map(|logs| logs.iter().sum::<f64>() / logs.len() as f64)
}
