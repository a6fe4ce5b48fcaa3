//! The limits of one node that do not ask its neighbours.

use baytrim_model::limits::{LimitName, Limits};

use super::rungs::SLACK;

/// What one node's bounds follow from, ln units.
#[derive(Debug, Clone, Copy)]
pub(super) struct NodeFacts {
    /// Fuel of the table in force over the base table's, not in ln units.
    pub(super) head_factor: f64,
    /// Fuel over the base table's that is proven to be enough.
    pub(super) proven: f64,
    /// Leanest lambda permitted over target lambda.
    pub(super) wall: f64,
}

/// Smallest and largest factor that each limit permits; every range holds the present factor.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds([(LimitName, f64, f64); 4]);

impl Bounds {
    pub(super) fn new(limits: &Limits, facts: NodeFacts) -> Self {
        let head = facts.head_factor;
        let (step, total) = (limits.step_percent / 100.0, limits.total_percent / 100.0);
        // Lambda's lean bound after a change to tau is target * exp(proven - tau).
        let proven = facts.proven;
        let at_wall = proven - facts.wall;
        Self([
            (LimitName::Step, head * (1.0 - step), head * (1.0 + step)),
            (
                LimitName::Total,
                head.min(1.0 - total),
                head.max(1.0 + total),
            ),
            (
                LimitName::LeanestLambda,
                head.min(at_wall.exp()),
                f64::INFINITY,
            ),
            (LimitName::LeanProof, head.min(proven.exp()), f64::INFINITY),
        ])
    }

    /// Returns the smallest factor that all of them permit.
    pub(super) fn factor_min(&self) -> f64 {
        self.0.iter().fold(0.0, |most, bound| bound.1.max(most))
    }

    /// Returns the largest factor that all of them permit.
    pub(super) fn factor_max(&self) -> f64 {
        let least = |least: f64, bound: &(LimitName, f64, f64)| bound.2.min(least);
        self.0.iter().fold(f64::INFINITY, least)
    }

    /// Returns the limits that `factor` would break.
    pub(super) fn broken_by(&self, factor: f64) -> impl Iterator<Item = LimitName> + '_ {
        self.0
            .iter()
            .filter(move |(_, low, high)| {
                factor < low * (1.0 - SLACK) || factor > high * (1.0 + SLACK)
            })
            .map(|(name, ..)| *name)
    }
}
