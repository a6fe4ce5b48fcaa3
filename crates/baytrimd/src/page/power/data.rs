//! What the chart of power draws.

use baytrim_jobs::power_comparison::{PowerComparison, at};
use serde::Serialize;

/// Curves over one scale of speeds; null where a pull has no point.
#[derive(Debug, Serialize)]
pub(super) struct Data {
    rpm: Vec<f64>,
    pulls: Vec<Pull>,
}

#[derive(Debug, Serialize)]
struct Pull {
    id: String,
    power_kw: Vec<Option<f64>>,
    torque_nm: Vec<Option<f64>>,
}

/// Returns what the chart draws: corrected where every pull can be, else as measured.
pub(super) fn of(found: &PowerComparison<'_>) -> Data {
    let rpm = speeds(found);
    let pulls = found.pulls.iter().map(|pull| {
        let factor = pull.power.factor().filter(|_| found.is_corrected);
        let factor = factor.unwrap_or(1.0);
        let points = || rpm.iter().map(|&rpm| at(&pull.power.points, rpm));
        let round = |value: f64| (value * factor * 100.0).round() / 100.0;
        Pull {
            id: pull.entry.record.id.to_string(),
            power_kw: points()
                .map(|point| point.map(|point| round(point.power_kw)))
                .collect(),
            torque_nm: points()
                .map(|point| point.map(|point| round(point.torque_nm)))
                .collect(),
        }
    });
    Data {
        pulls: pulls.collect(),
        rpm: rpm.clone(),
    }
}

/// Returns every speed at which a pull has a point, slowest first.
pub(super) fn speeds(found: &PowerComparison<'_>) -> Vec<f64> {
    let points = found.pulls.iter().flat_map(|pull| &pull.power.points);
    let mut rpm: Vec<f64> = points.map(|point| point.engine_speed_rpm).collect();
    rpm.sort_by(f64::total_cmp);
    rpm.dedup_by(|one, other| (*one - *other).abs() < 1e-6);
    rpm
}
