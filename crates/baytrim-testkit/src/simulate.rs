//! One pull of a known engine, firing by firing.

mod logger;
mod run;

use baytrim_model::samples::Samples;

use crate::bay::BayOptions;
use crate::drive::{self, Path, PullKind};
use crate::truth::EngineTruth;
use logger::Logger;
use run::Run;

/// Time step between firings in seconds.
const STEP_S: f64 = 0.0025;
/// Seconds driven before the log begins, so that film and pipe are settled.
const RUN_IN_S: f64 = 4.0;

/// What is true at each logged row; all lists have one length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RowTruth {
    /// Log fuel need at the speed and plate of the row.
    pub need_log: Vec<f64>,
    /// Seconds since the table was read for the charge whose gas arrives at the end of the plug flow.
    pub delay_s: Vec<f64>,
    /// Whether fuel or spark was cut at the row's time.
    pub cut: Vec<bool>,
    /// Log of the deliberate fuel factor in force.
    pub fuel_step_log: Vec<f64>,
}

/// A pull with its truth.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedPull {
    /// What the logger wrote.
    pub samples: Samples,
    /// What was true meanwhile.
    pub rows: RowTruth,
    /// Seconds of hat weight that the engine spent on each node while fuel burnt, in node order.
    pub visited_s: Vec<f64>,
    /// The part of `visited_s` after 1.5 s without a cut and without the plate moving faster than
    /// 10 % a second: what a log can tell without a model of the wall film.
    pub settled_s: Vec<f64>,
    /// Offset of this pull in log units of lambda.
    pub pull_offset: f64,
}

/// Simulates one pull with `values_in_force` in the controller's table, in node order and table unit.
///
/// # Panics
/// When `values_in_force` has not one value per node.
pub fn simulate(
    truth: &EngineTruth,
    values_in_force: &[f64],
    kind: PullKind,
    seed: u64,
    bay: &BayOptions,
) -> SimulatedPull {
    let path = drive::path(truth, kind, seed);
    simulate_path(truth, values_in_force, &path, seed, bay)
}

/// Simulates one pull along a given path.
///
/// # Panics
/// When `values_in_force` has not one value per node, or the path is empty.
pub fn simulate_path(
    truth: &EngineTruth,
    values_in_force: &[f64],
    path: &Path,
    seed: u64,
    bay: &BayOptions,
) -> SimulatedPull {
    assert_eq!(
        values_in_force.len(),
        truth.axes.node_count(),
        "one table value per node"
    );
    assert!(!path.is_empty(), "a pull is driven somewhere");
    let mut run = Run::new(truth, values_in_force, path, seed, bay);
    let mut logger = Logger::new(truth, path, seed, bay);
    let steps = (path.duration_s() + RUN_IN_S) / STEP_S;
    let mut step = 0.0;
    while step <= steps {
        let now_s = step * STEP_S - RUN_IN_S;
        run.step(now_s);
        logger.follow(now_s, &mut run);
        step += 1.0;
    }
    SimulatedPull {
        samples: logger.samples,
        rows: logger.rows,
        visited_s: run.visited_s,
        settled_s: run.settled_s,
        pull_offset: run.noise.pull_offset(),
    }
}

#[cfg(test)]
mod tests;
