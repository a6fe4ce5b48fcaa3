//! An axis in another unit, or off the table.

use baytrim_model::axis::{Axes, Axis};
use baytrim_model::pull::PullWarning;
use baytrim_model::samples::Samples;

use super::{warn, while_running};
use crate::clock::quantile;

/// Share of a log outside the table from which that is worth a word.
const OUTSIDE_SHARE: f64 = 0.2;

/// A plate reading in degrees ends near a right angle: where the highest lies in this range and is
/// reached again and again, it is the end of the travel.
const DEGREES_END: std::ops::RangeInclusive<f64> = 76.0..=93.0;

/// A plate that moves less is still, percent.
const STILL_PERCENT: f64 = 0.5;

pub(super) fn check(
    samples: &Samples,
    rpm: &[f64],
    plate: &[f64],
    axes: &Axes,
) -> Vec<PullWarning> {
    let mut warnings = Vec::new();
    let mut speeds: Vec<f64> = while_running(rpm, rpm).collect();
    let mut openings: Vec<f64> = while_running(rpm, plate).collect();
    if speeds.len() < super::SAMPLES_MIN || openings.len() < super::SAMPLES_MIN {
        return warnings;
    }
    warnings.extend(outside("rpm", &speeds, &axes.rpm, "rpm"));
    warnings.extend(outside("plate", &openings, &axes.plate_percent, "percent"));
    let (still, widest) = (
        quantile(&mut openings, 0.01),
        quantile(&mut openings, 0.999),
    );
    if widest - still < STILL_PERCENT
        && quantile(&mut speeds, 0.95) - quantile(&mut speeds, 0.05) > 1500.0
    {
        warnings.push(warn(
            "plate_still",
            format!(
                "the plate stands at {still:.1} to {widest:.1} percent while the engine runs through its speeds: the sensor is dead, or the column is none of the plate's"
            ),
        ));
    }
    // A hold at a node of the table is meant to stand there.
    let at_node = |node: &f64| (node - widest).abs() < 1.5;
    if !axes.plate_percent.breakpoints().iter().any(at_node) {
        warnings.extend(degrees(samples, &openings, widest));
    }
    warnings
}

fn outside(what: &str, values: &[f64], axis: &Axis, unit: &str) -> Option<PullWarning> {
    let span = axis.last() - axis.first();
    let (low, high) = (axis.first() - 0.02 * span, axis.last() + 0.02 * span);
    let is_outside = |value: &&f64| !(low..=high).contains(*value);
    let share = values.iter().filter(is_outside).count() as f64 / values.len() as f64;
    (share > OUTSIDE_SHARE).then(|| {
        warn(
            &format!("{what}_out_of_table"),
            format!(
                "{:.0} percent of the running engine's samples lie outside the table's {} to {} {unit}: nothing is learned there; check the unit, and that the log is of this vehicle",
                100.0 * share,
                axis.first(),
                axis.last()
            ),
        )
    })
}

/// A plate that stops at the same end below 93 again and again may be logged in degrees.
fn degrees(samples: &Samples, openings: &[f64], widest: f64) -> Option<PullWarning> {
    let at_end = openings
        .iter()
        .filter(|opening| **opening >= widest - 0.5)
        .count() as f64;
    let step_s = samples.duration_s() / samples.len() as f64;
    let is_end = DEGREES_END.contains(&widest) && at_end * step_s >= 1.5 && at_end >= 20.0;
    is_end.then(|| {
        warn(
            "plate_degrees",
            format!(
                "the plate stops at {widest:.1} for {:.1} s in all, as a fully open one does that is logged in degrees: if so, write points = [[DEGREES_SHUT, 0.0], [{widest:.1}, 100.0]]",
                at_end * step_s
            ),
        )
    })
}
