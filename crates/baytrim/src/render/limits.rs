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
    let speeds = range(wall.rpm_min, wall.rpm_max, "rpm");
    let plates = range(wall.plate_percent_min, wall.plate_percent_max, "% plate");
    let region = match (speeds, plates) {
        (Some(speeds), Some(plates)) => format!("{speeds}, {plates}"),
        (Some(region), None) | (None, Some(region)) => region,
        (None, None) => "everywhere".to_owned(),
    };
    format!(
        "lambda never over {} {region}",
        fixed(wall.lambda_ratio_max, 3)
    )
}

/// Returns the words for a range; none where it has no edges.
fn range(low: f64, high: f64, unit: &str) -> Option<String> {
    match (low > 0.0, high < NO_EDGE) {
        (false, false) => None,
        (true, false) => Some(format!("from {} {unit} up", breakpoint(low))),
        (false, true) => Some(format!("up to {} {unit}", breakpoint(high))),
        (true, true) => Some(format!(
            "from {} to {} {unit}",
            breakpoint(low),
            breakpoint(high)
        )),
    }
}
