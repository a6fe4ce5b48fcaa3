//! The rules, written down a second time from their wording.

use baytrim_model::proposal::NodeChange;

use super::cases::Case;

/// Looser than the limiter's own slack, tighter than any step of a table.
pub(super) const TOLERANCE: f64 = 1e-7;

/// Whether a node may move at all, and which way: 1 richer, -1 leaner, 0 not.
pub(super) fn may_move(case: &Case, node: usize) -> i8 {
    let tau = case.factor(node, case.head[node]).ln();
    let wish = case.theta[node] - tau;
    let unvisited = case.dwell_s[node] == 0.0;
    let held = 100.0 * wish.exp_m1().abs() < case.limits.deadband_percent.max(1e-6)
        || 100.0 * case.standard_error[node] > case.limits.standard_error_percent_max
        || !unvisited && case.visits[node] < case.limits.visits_min
        || wish > 0.0 && case.false_lean.get(node).copied().unwrap_or(false)
        || unvisited && (!case.limits.borrowed_changes || wish < 0.0);
    match (held, wish > 0.0) {
        (true, _) => 0,
        (false, true) => 1,
        (false, false) => -1,
    }
}

/// Returns the first limit of its own that `value` breaks at a node, by more than `tolerance`.
pub(super) fn own_violation(
    case: &Case,
    node: usize,
    value: f64,
    tolerance: f64,
) -> Option<String> {
    let (before, after) = (case.factor(node, case.head[node]), case.factor(node, value));
    if value.to_bits() == case.head[node].to_bits() {
        return None;
    }
    let limits = &case.limits;
    let complain = |what: &str| Some(format!("{what} at node {node}: {before} to {after}"));
    let steps = value / case.table.resolution;
    if (steps - steps.round()).abs() > 1e-6 {
        return complain("resolution");
    }
    let course = may_move(case, node);
    if course == 0 || (after > before) != (course > 0) {
        return complain("moved though it may not");
    }
    if 100.0 * (after / before - 1.0).abs() > limits.step_percent * (1.0 + tolerance) + tolerance {
        return complain("step");
    }
    let (was, is) = (100.0 * (before - 1.0), 100.0 * (after - 1.0));
    let total = limits.total_percent + tolerance;
    if is > total.max(was + tolerance) || is < (-total).min(was - tolerance) {
        return complain("total");
    }
    let margin = case.quantile * case.standard_error[node].hypot(case.sensor_error);
    if after < before && after.ln() < case.theta[node] + margin - tolerance {
        return complain("lean proof");
    }
    let (rpm, plate) = case.axes.position(node);
    let wall = limits.leanest_lambda_at(rpm, plate);
    let lean_bound = case.target_lambda[node] * (case.theta[node] + margin - after.ln()).exp();
    if after < before && lean_bound > wall * (1.0 + tolerance) {
        return complain("leanest lambda");
    }
    None
}

/// Returns all pairs of neighbours, both ways round.
pub(super) fn pairs(case: &Case) -> impl Iterator<Item = (usize, usize)> + '_ {
    let both = |(one, two)| [(one, two), (two, one)];
    case.axes.neighbours().flat_map(both)
}

/// Whether `upper` is further above `lower` than the limit and than it was, by more than
/// `tolerance`.
pub(super) fn too_far_apart(
    case: &Case,
    values: &[f64],
    (upper, lower): (usize, usize),
    tolerance: f64,
) -> bool {
    let limit = case.limits.neighbour_percent / 100.0;
    let at = |values: &[f64], node: usize| case.factor(node, values[node]);
    let ratio = |values: &[f64]| at(values, upper) / at(values, lower);
    let difference = |values: &[f64]| at(values, upper) - at(values, lower);
    ratio(values) > (1.0 + limit).max(ratio(&case.head)) + tolerance
        || difference(values) > limit.max(difference(&case.head)) + tolerance
}

/// Returns the first neighbour limit that `values` break.
pub(super) fn pair_violation(case: &Case, values: &[f64]) -> Option<String> {
    pairs(case)
        .find(|&pair| too_far_apart(case, values, pair, TOLERANCE))
        .map(|(upper, lower)| format!("neighbour: node {upper} over {lower}"))
}

/// Returns the first limit that `values` break.
pub(super) fn violation(case: &Case, values: &[f64]) -> Option<String> {
    let own = |node: usize| own_violation(case, node, values[node], TOLERANCE);
    (0..case.node_count())
        .find_map(own)
        .or_else(|| pair_violation(case, values))
}

/// Returns how far a table value leaves a node from its wish, ln units; finite.
pub(super) fn shortfall(case: &Case, node: usize, value: f64) -> f64 {
    (case.theta[node] - case.factor(node, value).ln()).abs()
}

/// Returns the proposed table.
pub(super) fn values(changes: &[NodeChange]) -> Vec<f64> {
    changes.iter().map(|change| change.after).collect()
}
