//! One small table as a reviewer would read it.

use std::fmt::Write as _;

use baytrim_model::limits::{LimitName, Limits, Wall};
use baytrim_model::proposal::{NodeChange, NodeStatus};
use baytrim_model::table::{BaseTable, TableContent};

use super::cases::{Case, axes};

/// Returns a 4 x 3 table, each node of which meets another rule.
fn small_table() -> Case {
    let wall = Wall {
        rpm_min: 3500.0,
        rpm_max: 1e9,
        plate_percent_min: 12.0,
        plate_percent_max: 1e9,
        lambda_max: 0.885,
    };
    let list = |plates: [[f64; 4]; 3]| plates.concat();
    Case {
        axes: axes(4, 3),
        table: BaseTable {
            content: TableContent::Percent,
            resolution: 0.5,
            values: vec![0.0; 12],
        },
        target_lambda: vec![0.9; 12],
        limits: Limits {
            neighbour_percent: 15.0,
            walls: vec![wall],
            ..Limits::default()
        },
        head: list([
            [0.0, 3.0, 0.0, 0.0],
            [9.0, 20.0, 11.0, 2.0],
            [0.0, 12.0, 2.0, 2.0],
        ]),
        theta: list([
            [-0.015, 0.15, -0.06, -0.05],
            [0.25, 0.35, 0.105, 0.10],
            [-0.20, 0.14, 0.05, -0.03],
        ]),
        standard_error: list([
            [0.005, 0.005, 0.010, 0.010],
            [0.005, 0.005, 0.005, 0.040],
            [0.005, 0.008, 0.030, 0.002],
        ]),
        sensor_error: 0.01,
        dwell_s: list([
            [9.0, 8.0, 7.0, 6.0],
            [5.0, 4.0, 3.0, 2.0],
            [3.0, 1.0, 0.0, 5.0],
        ]),
        visits: vec![5, 4, 3, 3, 2, 2, 2, 2, 4, 1, 0, 3],
        false_lean: Vec::new(),
        quantile: 1.644_853_626_951_471_5,
    }
}

fn text(changes: &[NodeChange]) -> String {
    let mut text = String::new();
    for node in changes {
        let names: Vec<&str> = node
            .limited_by
            .iter()
            .copied()
            .map(LimitName::as_str)
            .collect();
        let [low, high] = node.predicted_lambda_interval;
        let _ = writeln!(
            text,
            "{:4} {:2}: {:+5.1} -> {:+5.1}, wants {:+6.2} +- {:.2} ({:.2}), gets {:+6.2}, \
             lambda {:.3} -> {:.3} ({:.3} to {:.3}), risk {:.4}, {}{}{}",
            node.rpm,
            node.plate_percent,
            node.before,
            node.after,
            node.correction_percent,
            node.standard_error_percent,
            node.total_standard_error_percent,
            node.proposed_percent,
            node.lambda_before,
            node.predicted_lambda,
            low,
            high,
            node.lean_risk,
            node.status,
            if names.is_empty() { "" } else { ": " },
            names.join(", "),
        );
    }
    text
}

/// A rule that changes its effect changes what goes into an engine: this shows where.
#[test]
fn every_rule_shows_in_a_small_table() {
    let found = text(&small_table().propose());
    let expected = include_str!("small_table.txt");
    assert_eq!(found, expected, "\n{found}");
}

/// A change that is met in full, yet called limited, sends the reviewer after a cause that is none.
#[test]
fn a_wish_that_is_met_names_no_limit() {
    let mut case = small_table();
    case.sensor_error = 0.0;
    case.standard_error = vec![0.0; 12];
    case.head = vec![0.0; 12];
    case.theta = [0.96_f64.ln(), 1.06_f64.ln()].repeat(6);
    case.visits = vec![2; 12];
    case.dwell_s = vec![2.0; 12];
    for (node, change) in case.propose().iter().enumerate() {
        let expected = if node % 2 == 0 { -4.0 } else { 6.0 };
        assert!((change.after - expected).abs() < 1e-12, "{change:?}");
        assert_eq!(change.status, NodeStatus::Change);
        assert_eq!(change.limited_by, []);
    }
}
