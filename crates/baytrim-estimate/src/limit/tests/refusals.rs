//! Input that the limiter does not work on.

use std::error::Error;

use baytrim_model::limits::Limits;
use baytrim_model::table::{BaseTable, TableContent};

use super::super::LimitError;
use super::cases::{Case, axes};

/// Returns an innocent 2 x 2 case.
fn plain() -> Case {
    Case {
        axes: axes(2, 2),
        table: BaseTable {
            content: TableContent::Percent,
            resolution: 0.1,
            values: vec![0.0; 4],
        },
        target_lambda: vec![0.9; 4],
        limits: Limits::default(),
        head: vec![0.0; 4],
        theta: vec![0.05; 4],
        standard_error: vec![0.01; 4],
        sensor_error: 0.01,
        dwell_s: vec![3.0; 4],
        visits: vec![3; 4],
        false_lean: Vec::new(),
        quantile: 1.644_853_626_951_471_5,
    }
}

/// A number that is none, let through, would come out as a table value.
#[test]
fn bad_numbers_are_named_with_their_node() {
    type Spoil = fn(&mut Case);
    let spoiled: [(Spoil, &str); 8] = [
        (
            |case| case.theta[2] = f64::NAN,
            "theta of node 2 is NaN, outside -1000000 to 1000000; \
             refit, or check the table that it came from",
        ),
        (
            |case| case.standard_error[1] = f64::INFINITY,
            "standard_error of node 1 is inf, outside 0 to 1000000; \
             refit, or check the table that it came from",
        ),
        (
            |case| case.sensor_error = -0.01,
            "sensor_error of node 0 is -0.01, outside 0 to 1000000; \
             refit, or check the table that it came from",
        ),
        (
            |case| case.target_lambda[3] = 0.4,
            "target_lambda of node 3 is 0.4, outside 0.5 to 2; \
             refit, or check the table that it came from",
        ),
        (
            |case| case.dwell_s.truncate(3),
            "dwell_s has 3 entries where the axes have 4 nodes; give one per node",
        ),
        (
            |case| case.visits.push(1),
            "visits has 5 entries where the axes have 4 nodes; give one per node",
        ),
        (
            |case| case.head[0] = -100.0,
            "head_values of node 0 is -100, which asks for no fuel; correct or revert that table",
        ),
        (
            |case| case.limits.step_percent = 80.0,
            "the job's limits or base table cannot be used; correct the job",
        ),
    ];
    for (spoil, expected) in spoiled {
        let mut case = plain();
        spoil(&mut case);
        let error = case.try_propose().expect_err(expected);
        assert_eq!(error.to_string(), expected);
        if let LimitError::Setting(problem) = &error {
            assert_eq!(problem.field, "limits.step_percent");
            assert!(error.source().is_some());
        }
    }
    assert!(plain().try_propose().is_ok());
}
