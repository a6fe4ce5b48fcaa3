//! Which holds and sweeps to run next: the ones that shrink the weighted variance most per dyno second.
//!
//! With P the covariance of theta and of the next pull's offset, W the weights of use, a run of readings with
//! rows F and noise R takes tr((F P F' + R)^-1 F P W P F') off tr(W P): V-optimal design. Runs are taken
//! greedily by that gain per second, each time from the P that the ones before would leave.
//! Sources: Fedorov (1972), Theory of Optimal Experiments; Cohn, Ghahramani, Jordan (1996), J. Artificial
//! Intelligence Research 4; greedy choice: Nemhauser, Wolsey, Fisher (1978). Staying inside what is known to be
//! safe: as in Sui and others (2015), Safe exploration for optimization with Gaussian processes.

mod candidate;
mod fuel_step;
mod use_map;

use baytrim_model::axis::Axes;
use baytrim_model::gate::GateSettings;
use baytrim_model::limits::Limits;
use nalgebra::DMatrix;

use crate::fit::Fit;
use crate::limit::normal::quantile;
use crate::posterior::Posterior;

use candidate::{Candidate, candidates};
pub use fuel_step::{FuelStep, fuel_steps};
pub use use_map::UseMap;

/// What a plan is asked for.
#[derive(Debug, Clone, Copy)]
pub struct PlanQuestion<'a> {
    /// The table's axes.
    pub axes: &'a Axes,
    /// The table that will be loaded: ln of its fuel over the base table's, in node order.
    pub log_trim: &'a [f64],
    /// Lambda wanted at each node, in node order.
    pub target_lambda: &'a [f64],
    /// Walls, and how sure a node must be inside them.
    pub limits: &'a Limits,
    /// Where fuel is cut.
    pub gates: &'a GateSettings,
    /// How much each node counts, in node order, at least 0.
    pub weights: &'a [f64],
    /// Dyno seconds that the plan may take.
    pub seconds: f64,
}

/// One run of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanStep {
    /// Speed at which it begins.
    pub from_rpm: f64,
    /// Speed up to which it sweeps and from which it comes back; the same as `from_rpm` for a hold.
    pub to_rpm: f64,
    /// Plate opening, percent.
    pub plate_percent: f64,
    /// Seconds of the hold, or of the sweep up and down.
    pub run_s: f64,
    /// Seconds with getting there and settling.
    pub total_s: f64,
    /// Weighted standard error once it and all before it are run, ln units.
    pub error_after: f64,
}

impl PlanStep {
    /// Returns whether it is a hold.
    pub fn is_hold(&self) -> bool {
        self.to_rpm <= self.from_rpm
    }
}

/// A plan.
#[derive(Debug, Clone, PartialEq)]
pub struct PullPlan {
    /// Its runs, the most useful first.
    pub steps: Vec<PlanStep>,
    /// Root of the weighted mean variance of theta now, ln units, sensor not included.
    pub error_now: f64,
    /// Nodes that count and are not known to be safe, or are cut from fuel: no run goes there.
    pub unreachable: usize,
}

/// Most runs of a plan.
const STEPS_MAX: usize = 40;

/// Plans the next pull; none where no node counts.
///
/// # Panics
/// When a per-node list has not one value per node.
pub fn plan_pull(
    fit: &Fit,
    posterior: &Posterior,
    question: &PlanQuestion<'_>,
) -> Option<PullPlan> {
    let nodes = question.axes.node_count();
    assert_eq!(question.weights.len(), nodes, "one weight per node");
    assert_eq!(question.log_trim.len(), nodes, "one trim per node");
    let total: f64 = question.weights.iter().sum();
    if total <= 0.0 {
        return None;
    }
    let safe = safe_nodes(fit, question);
    let counts = |&node: &usize| question.weights[node] > 0.0;
    let kept: Vec<usize> = (0..nodes)
        .filter(|node| safe[*node] || counts(node))
        .collect();
    let mut state = State::new(posterior, &kept, question.weights, total)?;
    let error_now = state.error();
    let runs = candidates(question, &safe, posterior);
    let mut steps = Vec::new();
    let mut left_s = question.seconds;
    while steps.len() < STEPS_MAX {
        let gains = runs
            .iter()
            .filter(|run| run.total_s <= left_s)
            .filter_map(|run| Some((run, state.gain(run)? / run.total_s)));
        let Some((run, gain)) = gains.max_by(|a, b| a.1.total_cmp(&b.1)) else {
            break;
        };
        if gain <= 0.0 {
            break;
        }
        state.take(run);
        left_s -= run.total_s;
        steps.push(PlanStep {
            from_rpm: run.from_rpm,
            to_rpm: run.to_rpm,
            plate_percent: run.plate_percent,
            run_s: run.run_s,
            total_s: run.total_s,
            error_after: state.error(),
        });
    }
    Some(PullPlan {
        steps,
        error_now,
        unreachable: (0..nodes)
            .filter(counts)
            .filter(|&node| !safe[node])
            .count(),
    })
}

/// Returns at which nodes the upper bound of lambda with the table in force lies inside the wall, among those
/// that a pull has visited and their neighbours; without those where fuel may be cut and no pull has been.
fn safe_nodes(fit: &Fit, question: &PlanQuestion<'_>) -> Vec<bool> {
    let axes = question.axes;
    let mut near: Vec<bool> = fit.visits.iter().map(|&visits| visits > 0).collect();
    for (a, b) in axes.neighbours() {
        near[a] |= fit.visits[b] > 0;
        near[b] |= fit.visits[a] > 0;
    }
    let z = quantile(question.limits.lean_confidence);
    let is_safe = |node: usize| {
        let (rpm, plate) = axes.position(node);
        let margin = z * fit.standard_error[node].hypot(fit.sensor_error);
        let shortfall = fit.theta[node] - question.log_trim[node] + margin;
        let wall = question.limits.leanest_lambda_at(rpm, plate);
        let cut = plate <= question.gates.overrun_plate_percent_max && fit.visits[node] == 0;
        near[node] && !cut && (question.target_lambda[node] * shortfall.exp()) <= wall
    };
    (0..axes.node_count()).map(is_safe).collect()
}

/// What is known before the next run: theta at the kept nodes, then the pull's offset.
struct State {
    kept: Vec<usize>,
    covariance: DMatrix<f64>,
    /// Weights of the kept nodes, adding up to one; the offset's is 0.
    weights: Vec<f64>,
}

impl State {
    fn new(posterior: &Posterior, kept: &[usize], weights: &[f64], total: f64) -> Option<Self> {
        let count = kept.len();
        let covariance = posterior.covariance(kept)?;
        let mut covariance = covariance.resize(count + 1, count + 1, 0.0);
        covariance[(count, count)] = posterior.pull_variance();
        let mut weights: Vec<f64> = kept.iter().map(|&node| weights[node] / total).collect();
        weights.push(0.0);
        Some(Self {
            kept: kept.to_vec(),
            covariance,
            weights,
        })
    }

    /// Returns the root of the weighted mean variance.
    fn error(&self) -> f64 {
        let variances = self.covariance.diagonal();
        let pairs = self.weights.iter().zip(variances.iter());
        let sum: f64 = pairs.map(|(weight, variance)| weight * variance).sum();
        sum.max(0.0).sqrt()
    }

    /// Returns L^-1 F P, one row per reading of a run, with L the factor of F P F' + R.
    fn explained(&self, run: &Candidate) -> Option<DMatrix<f64>> {
        let offset = self.kept.len();
        let places = run
            .nodes
            .iter()
            .map(|(node, _)| self.kept.binary_search(node));
        let places: Vec<usize> = places.collect::<Result<_, _>>().ok()?;
        let rows = DMatrix::from_fn(places.len(), offset + 1, |row, column| {
            self.covariance[(places[row], column)] + self.covariance[(offset, column)]
        });
        let inner = DMatrix::from_fn(places.len(), places.len(), |a, b| {
            let noise = if a == b { run.nodes[a].1 } else { 0.0 };
            rows[(a, places[b])] + rows[(a, offset)] + noise
        });
        inner.cholesky()?.l().solve_lower_triangular(&rows)
    }

    /// Returns what a run takes off the weighted mean variance.
    fn gain(&self, run: &Candidate) -> Option<f64> {
        let explained = self.explained(run)?;
        let columns = explained.column_iter().zip(&self.weights);
        Some(
            columns
                .map(|(column, weight)| weight * column.norm_squared())
                .sum(),
        )
    }

    fn take(&mut self, run: &Candidate) {
        if let Some(explained) = self.explained(run) {
            self.covariance -= explained.transpose() * &explained;
        }
    }
}
