//! From correction to the change that may be proposed.
//!
//! Per node, with `tau` the ln of the fuel over the base table's and `theta` what it should be:
//!
//! 1. The wish is `theta - tau`. Richer, all of it counts. Leaner, only what is proven:
//!    `min(0, wish + z * error)` with `z` the quantile of `lean_confidence` and `error` the root sum
//!    of squares of the node's standard error **and the sensor's**. A sensor that reads rich would
//!    otherwise take fuel away at every node at once, with a proof that counts each node's own
//!    noise only.
//! 2. Nodes within the deadband, unsure, seldom or never visited stay as they are.
//! 3. The others move from their present value towards their wish, never past it by more than
//!    rounding, as far as the step, total, neighbour and leanest-lambda limits let them: the nearest
//!    permitted table for all nodes at once (`project`), over the values that the table can store
//!    (`rungs`), so that every limit holds after rounding, to a relative 1e-9.
//! 4. What stopped a node is what its next step towards the wish would break (`reason`).
//!
//! A table in force that breaks a limit already (an owner's own, or one from before the limits were
//! tightened) may stay as far outside as it is; no change takes it further out.

mod bounds;
mod change;
mod check;
mod neighbours;
pub(crate) mod normal;
mod partial;
mod predict;
mod project;
mod reason;
mod rungs;
mod wish;

pub use predict::chance_leaner;

#[cfg(test)]
mod tests;

use baytrim_model::axis::Axes;
use baytrim_model::limits::Limits;
use baytrim_model::proposal::NodeChange;
use baytrim_model::table::BaseTable;

use crate::fit::Fit;

use bounds::{Bounds, NodeFacts};
use change::Plan;
use neighbours::{Link, links};
use project::{Side, settle};
use rungs::Rungs;
use wish::{Course, Wish, wish};

pub use check::LimitError;
pub use partial::{pairs_too_far_apart, part_of_change, stored_value};

/// What the fit says of each node, every list in node order.
#[derive(Debug, Clone, Copy)]
pub struct NodeEstimates<'a> {
    /// Natural logarithm of the fuel multiplier that the base table needs.
    pub theta: &'a [f64],
    /// Standard error of `theta` without the sensor's bias, ln units, at least 0.
    pub standard_error: &'a [f64],
    /// Standard deviation of the sensor's bias, common to all nodes, ln units, at least 0.
    pub sensor_error: f64,
    /// Seconds of accepted footprint weight; 0 marks a node that was never visited.
    pub dwell_s: &'a [f64],
    /// Separate visits.
    pub visits: &'a [u32],
    /// How much of `theta` is measured at the node itself, 0 to 1.
    pub measured_fraction: &'a [f64],
    /// Whether the node looks lean for another reason than too little fuel; empty where none does.
    pub false_lean: &'a [bool],
    /// Logarithm of the least fuel over the base table's that this very engine's evidence permits, where the estimate
    /// rests on more than that; empty where it does not.
    pub least_fuel: &'a [f64],
}

impl NodeEstimates<'_> {
    /// Returns whether a node looks lean for another reason than too little fuel.
    fn looks_lean(&self, node: usize) -> bool {
        self.false_lean.get(node).copied().unwrap_or(false)
    }

    /// Returns the logarithm of the least fuel over the base table's that is proven to be enough; `quantile` is that
    /// of the lean confidence.
    fn proven(&self, node: usize, quantile: f64) -> f64 {
        let own = self.least_fuel.get(node).copied();
        let known = self.theta[node] + quantile * self.total_error(node);
        known.max(own.unwrap_or(f64::NEG_INFINITY))
    }

    /// Returns the standard error of a node's `theta` with the sensor's bias, ln units.
    fn total_error(&self, node: usize) -> f64 {
        self.standard_error[node].hypot(self.sensor_error)
    }
}

/// Returns, for each node, the logarithm of the least fuel over the base table's that `fit` proves to be enough, at
/// the confidence `lean_confidence`.
pub fn least_fuel(fit: &Fit, lean_confidence: f64) -> Vec<f64> {
    let quantile = normal::quantile(lean_confidence);
    let pairs = fit.theta.iter().zip(&fit.standard_error);
    pairs
        .map(|(theta, error)| theta + quantile * error.hypot(fit.sensor_error))
        .collect()
}

/// Largest wish that rounding looks at, ln units: a factor of 4, past any step that limits permit.
const AIM_MAX: f64 = 1.4;

/// Returns what is proposed for every node, in node order.
///
/// `table` is the base table, `head_values` the revision in force (table unit, node order).
/// The same input gives the same bits.
///
/// # Errors
/// Names the first input that has the wrong length or lies outside its range.
pub fn propose_nodes(
    axes: &Axes,
    table: &BaseTable,
    target_lambda: &[f64],
    limits: &Limits,
    head_values: &[f64],
    estimates: &NodeEstimates<'_>,
) -> Result<Vec<NodeChange>, LimitError> {
    check::inputs(axes, table, target_lambda, limits, head_values, estimates)?;
    let quantile = normal::quantile(limits.lean_confidence);
    let nodes: Vec<Node> = (0..axes.node_count())
        .map(|node| {
            let (rpm, plate_percent) = axes.position(node);
            let wall = limits.leanest_lambda_at(rpm, plate_percent);
            let rungs = Rungs::new(
                table.content,
                table.resolution,
                table.values[node],
                head_values[node],
            );
            let head_factor = rungs.factor(0);
            let facts = NodeFacts {
                head_factor,
                proven: estimates.proven(node, quantile),
                wall: (wall / target_lambda[node]).ln(),
            };
            let wish = wish(limits, estimates, node, head_factor.ln());
            Node::new(rungs, Bounds::new(limits, facts), wish, wall)
        })
        .collect();
    let heads: Vec<f64> = nodes.iter().map(|node| node.rungs.factor(0)).collect();
    let links = links(axes, limits, &heads);
    let chosen = nearest_permitted(&nodes, &links);
    let plan = Plan {
        axes,
        limits,
        target_lambda,
        estimates,
        nodes: &nodes,
        links: &links,
        chosen: &chosen,
    };
    Ok(plan.changes())
}

/// One node, and how it may move.
struct Node {
    rungs: Rungs,
    bounds: Bounds,
    wish: Wish,
    /// The leanest lambda permitted.
    wall: f64,
    /// The rung nearest to the wish.
    aim: i64,
    /// The rung nearest to the wish within the node's own limits.
    reach: i64,
}

impl Node {
    fn new(rungs: Rungs, bounds: Bounds, wish: Wish, wall: f64) -> Self {
        let aim = rungs.nearest(rungs.factor(0).ln() + wish.change.clamp(-AIM_MAX, AIM_MAX));
        let reach = match wish.course {
            Course::Hold(_) => 0,
            Course::Richer => aim.min(rungs.highest_within(bounds.factor_max())).max(0),
            Course::Leaner => aim.max(rungs.lowest_within(bounds.factor_min())).min(0),
        };
        Self {
            rungs,
            bounds,
            wish,
            wall,
            aim,
            reach,
        }
    }
}

/// Returns the rung of every node in the nearest table within all limits.
fn nearest_permitted(nodes: &[Node], links: &[Vec<Link>]) -> Vec<i64> {
    let rungs: Vec<Rungs> = nodes.iter().map(|node| node.rungs).collect();
    let mut chosen: Vec<i64> = nodes.iter().map(|node| node.reach.max(0)).collect();
    settle(Side::Richer, &rungs, links, &mut chosen);
    for (rung, node) in chosen.iter_mut().zip(nodes) {
        if node.reach < 0 {
            *rung = node.reach;
        }
    }
    settle(Side::Leaner, &rungs, links, &mut chosen);
    chosen
}
