//! Writes each node's entry in the proposal.

use baytrim_model::axis::Axes;
use baytrim_model::limits::Limits;
use baytrim_model::proposal::NodeChange;

use super::neighbours::Link;
use super::predict::Prediction;
use super::project::Side;
use super::reason::{Outcome, explain};
use super::wish::{Course, percent};
use super::{Node, NodeEstimates};

/// Everything that a node's entry in the proposal is written from.
pub(super) struct Plan<'a> {
    pub(super) axes: &'a Axes,
    pub(super) limits: &'a Limits,
    pub(super) target_lambda: &'a [f64],
    pub(super) estimates: &'a NodeEstimates<'a>,
    pub(super) nodes: &'a [Node],
    pub(super) links: &'a [Vec<Link>],
    pub(super) chosen: &'a [i64],
}

impl Plan<'_> {
    pub(super) fn changes(&self) -> Vec<NodeChange> {
        let placed = self.nodes.iter().zip(self.chosen);
        let factors: Vec<f64> = placed
            .map(|(node, &rung)| node.rungs.factor(rung))
            .collect();
        (0..self.nodes.len())
            .map(|node| self.change(node, &factors))
            .collect()
    }

    fn change(&self, node: usize, factors: &[f64]) -> NodeChange {
        let (rpm, plate_percent) = self.axes.position(node);
        let Node {
            rungs, wish, wall, ..
        } = &self.nodes[node];
        let mut limited_by = wish.reasons.clone();
        let status = match wish.course {
            Course::Hold(status) => status,
            Course::Richer => {
                let outcome = self.outcome(node, Side::Richer, factors);
                explain(self.limits, &outcome, &mut limited_by)
            }
            Course::Leaner => {
                let outcome = self.outcome(node, Side::Leaner, factors);
                explain(self.limits, &outcome, &mut limited_by)
            }
        };
        limited_by.sort_unstable();
        let head_factor = rungs.factor(0);
        let error = self.estimates.total_error(node);
        let prediction = |factor: f64| Prediction {
            target_lambda: self.target_lambda[node],
            shortfall: self.estimates.theta[node] - factor.ln(),
            error,
        };
        let after = prediction(factors[node]);
        NodeChange {
            rpm,
            plate_percent,
            before: rungs.value(0),
            after: rungs.value(self.chosen[node]),
            correction_percent: percent(wish.change),
            standard_error_percent: 100.0 * self.estimates.standard_error[node],
            total_standard_error_percent: 100.0 * error,
            proposed_percent: 100.0 * (factors[node] / head_factor - 1.0),
            dwell_s: self.estimates.dwell_s[node],
            visits: self.estimates.visits[node],
            measured_fraction: self.estimates.measured_fraction[node],
            lambda_before: prediction(head_factor).lambda(),
            target_lambda: self.target_lambda[node],
            predicted_lambda: after.lambda(),
            predicted_lambda_interval: after.interval(),
            lean_risk: after.chance_above(*wall),
            limited_by,
            status,
        }
    }

    fn outcome<'a>(&'a self, node: usize, side: Side, factors: &'a [f64]) -> Outcome<'a> {
        let Node {
            rungs, bounds, aim, ..
        } = &self.nodes[node];
        Outcome {
            side,
            rungs,
            bounds,
            links: &self.links[node],
            factors,
            rung: self.chosen[node],
            aim: *aim,
            theta: self.estimates.theta[node],
        }
    }
}
