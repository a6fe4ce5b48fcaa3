//! How far proposals may go, in words.

use baytrim_api::v1::{Limits, Wall};

use super::number::{breakpoint, fixed};

/// An edge of a region at or beyond this is no edge: no engine and no plate gets there.
const NO_EDGE: f64 = 1e6;

/// Returns the limits, one sentence each.
pub(crate) fn limit_sentences(limits: &Limits) -> Vec<String> {
    let percent = |value: f64| format!("{} %", breakpoint(value));
    let mut sentences = vec![
        format!(
            "at most {} a step, {} in all, {} between neighbours; under {} is left alone",
            percent(limits.step_percent),
            percent(limits.total_percent),
            percent(limits.neighbour_percent),
            percent(limits.deadband_percent),
        ),
        format!(
            "a change needs {} visits and a standard error under {}; taking fuel away needs {} confidence",
            limits.visits_min,
            percent(limits.standard_error_percent_max),
            percent(100.0 * limits.lean_confidence),
        ),
        format!(
            "lambda never over {}",
            fixed(limits.leanest_lambda_ratio, 3)
        ),
    ];
    sentences.extend(limits.walls.iter().map(wall));
    if limits.borrowed_changes {
        sentences.push("nodes that were never visited may follow their neighbours".to_owned());
    }
    sentences
}

fn wall(wall: &Wall) -> String {
    let range = |low: f64, high: f64, unit: &str| match high >= NO_EDGE {
        true => format!("from {} {unit}", breakpoint(low)),
        false => format!("{} to {} {unit}", breakpoint(low), breakpoint(high)),
    };
    format!(
        "lambda never over {} at {}, {} plate",
        fixed(wall.lambda_ratio_max, 3),
        range(wall.rpm_min, wall.rpm_max, "rpm"),
        range(wall.plate_percent_min, wall.plate_percent_max, "%"),
    )
}
