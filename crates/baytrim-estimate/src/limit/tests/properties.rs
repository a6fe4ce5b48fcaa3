//! What holds for every input.

use baytrim_model::limits::LimitName;
use baytrim_model::proposal::{NodeChange, NodeStatus};
use proptest::prelude::*;

use super::cases::{Case, any_case};
use super::rules::{
    TOLERANCE, may_move, own_violation, pairs, shortfall, too_far_apart, values, violation,
};

/// Returns whether two numbers are the same to a billionth of the larger.
fn close(one: f64, two: f64) -> bool {
    (one - two).abs() <= 1e-9 * (1.0 + one.abs().max(two.abs()))
}

fn check_numbers(case: &Case, node: usize, change: &NodeChange) {
    let (before, after) = (
        case.factor(node, change.before),
        case.factor(node, change.after),
    );
    assert!(close(change.before, case.head[node]));
    assert!(close(
        change.proposed_percent,
        100.0 * (after / before - 1.0)
    ));
    let bounded = |exponent: f64| exponent.clamp(-20.0, 20.0).exp();
    let target = case.target_lambda[node];
    let after_lambda = target * bounded(case.theta[node] - after.ln());
    assert!(close(change.predicted_lambda, after_lambda));
    let before_lambda = target * bounded(case.theta[node] - before.ln());
    assert!(close(change.lambda_before, before_lambda));
    let correction = 100.0 * (bounded(case.theta[node] - before.ln()) - 1.0);
    assert!(close(change.correction_percent, correction));
    let [low, high] = change.predicted_lambda_interval;
    assert!(0.0 < low && low <= change.predicted_lambda && change.predicted_lambda <= high);
    assert!(high.is_finite() && (0.0..=1.0).contains(&change.lean_risk));
    assert!(change.total_standard_error_percent >= change.standard_error_percent);
}

fn check_words(case: &Case, node: usize, change: &NodeChange) {
    let moved = change.after.to_bits() != change.before.to_bits();
    let names = &change.limited_by;
    assert!(names.is_sorted_by(|a, b| a < b), "{names:?}");
    let unvisited = case.dwell_s[node] == 0.0;
    assert_eq!(unvisited, names.contains(&LimitName::Borrowed));
    match change.status {
        NodeStatus::Change => assert!(moved),
        NodeStatus::Limited => assert!(names.iter().any(|name| *name != LimitName::Borrowed)),
        NodeStatus::OnTarget | NodeStatus::Unproven => assert!(!moved && !unvisited),
        NodeStatus::Unvisited => assert!(!moved && unvisited),
    }
    if change.status == NodeStatus::Unproven {
        assert!(!names.is_empty());
    }
    if may_move(case, node) == 0 {
        assert!(!moved);
    }
}

/// A limit that is named must be one that the next step of the table would break.
fn check_named_limits(case: &Case, node: usize, change: &NodeChange, table: &[f64]) {
    let course = f64::from(may_move(case, node));
    if course == 0.0 || change.status == NodeStatus::Change {
        return;
    }
    let resolution = case.table.resolution;
    let steps = change.after / resolution;
    let next = if course > 0.0 {
        ((steps + 1e-3).floor() + 1.0) * resolution
    } else {
        ((steps - 1e-3).ceil() - 1.0) * resolution
    };
    let own = [
        LimitName::Step,
        LimitName::Total,
        LimitName::LeanestLambda,
        LimitName::LeanProof,
    ];
    let mut further = table.to_vec();
    further[node] = next;
    let apart = |pair| too_far_apart(case, &further, pair, -TOLERANCE);
    let names = &change.limited_by;
    if names.iter().any(|name| own.contains(name)) {
        assert!(
            own_violation(case, node, next, -TOLERANCE).is_some(),
            "{names:?}"
        );
    } else if !names.contains(&LimitName::Resolution) {
        assert!(
            own_violation(case, node, next, TOLERANCE).is_none(),
            "{names:?}"
        );
    }
    if names.contains(&LimitName::Neighbour) {
        assert!(pairs(case).any(apart), "{names:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, failure_persistence: None, ..ProptestConfig::default() })]

    /// A broken limit can destroy an engine; a wrong number or reason misleads the reviewer.
    #[test]
    fn every_limit_holds_on_what_is_stored(case in any_case(6)) {
        let changes = case.propose();
        let table = values(&changes);
        prop_assert_eq!(violation(&case, &table), None);
        for (node, change) in changes.iter().enumerate() {
            check_numbers(&case, node, change);
            check_words(&case, node, change);
            check_named_limits(&case, node, change, &table);
            let (was, is) = (case.head[node], change.after);
            let grown = shortfall(&case, node, is) - shortfall(&case, node, was);
            prop_assert!(grown <= 1e-9, "node {node}: error grew by {grown}");
        }
    }

    /// The same question must have the same answer, or a proposal could not be computed again.
    #[test]
    fn same_input_same_bits(case in any_case(4)) {
        prop_assert_eq!(case.propose(), case.propose());
    }

    /// Going round with the same evidence must come nearer to target and come to rest,
    /// not swing about it or eat away at the fuel.
    #[test]
    fn repeated_proposals_come_to_rest(mut case in any_case(5)) {
        case.limits.step_percent = case.limits.step_percent.max(5.0);
        let mut rounds = 0;
        loop {
            let changes = case.propose();
            let table = values(&changes);
            prop_assert_eq!(violation(&case, &table), None);
            for (node, (&is, &was)) in table.iter().zip(&case.head).enumerate() {
                let grown = shortfall(&case, node, is) - shortfall(&case, node, was);
                prop_assert!(grown <= 1e-9, "node {node}: error grew by {grown}");
            }
            if table == case.head {
                break;
            }
            case.head = table;
            rounds += 1;
            prop_assert!(rounds < 400, "still moving");
        }
    }

    /// With limits out of the way the mixture must end on target, and no leaner than proven.
    #[test]
    fn generous_limits_let_it_reach_the_target(mut case in any_case(5)) {
        case.limits.step_percent = 20.0;
        case.limits.total_percent = 100.0;
        case.limits.neighbour_percent = 100.0;
        case.limits.leanest_lambda = 2.0;
        case.limits.walls.clear();
        case.limits.visits_min = 0;
        case.limits.standard_error_percent_max = 50.0;
        case.head = case.table.values.clone();
        for node in 0..case.node_count() {
            case.theta[node] = case.theta[node].clamp(-0.15, 0.15);
            case.standard_error[node] = case.standard_error[node].min(0.05);
            case.dwell_s[node] = 5.0;
            case.false_lean[node] = false;
        }
        for _ in 0..12 {
            case.head = values(&case.propose());
        }
        for (node, change) in case.propose().iter().enumerate() {
            let fuel = case.table.content.fuel(change.after);
            let step = (case.table.resolution / fuel).ln_1p();
            let tolerance = step.max((case.limits.deadband_percent / 100.0).ln_1p() * 1.05) + 1e-9;
            let margin = case.quantile * case.standard_error[node].hypot(case.sensor_error);
            let short = case.theta[node] - case.factor(node, change.after).ln();
            let richest = if case.theta[node] < 0.0 { margin.max(tolerance) + step } else { tolerance };
            prop_assert!(short <= tolerance, "node {node} left lean by {short}");
            prop_assert!(short >= -richest * 1.3, "node {node} left rich by {short}");
        }
    }
}
