//! Why a node went no further.

use baytrim_model::limits::{LimitName, Limits};
use baytrim_model::proposal::NodeStatus;

use super::bounds::Bounds;
use super::neighbours::Link;
use super::project::Side;
use super::rungs::{Rungs, SLACK};
use super::wish::{ROUNDING_PERCENT, percent};

/// Where a node that was free to move ended.
pub(super) struct Outcome<'a> {
    /// Which way it was free to move.
    pub(super) side: Side,
    /// Its values.
    pub(super) rungs: &'a Rungs,
    /// Its own limits.
    pub(super) bounds: &'a Bounds,
    /// Its neighbours.
    pub(super) links: &'a [Link],
    /// The factor of every node in the proposed table.
    pub(super) factors: &'a [f64],
    /// The rung that it got.
    pub(super) rung: i64,
    /// The rung nearest to its wish.
    pub(super) aim: i64,
    /// The fuel over base that it wishes for, ln units.
    pub(super) theta: f64,
}

/// Returns what became of a node, and adds to `reasons` every limit that one more step would break.
pub(super) fn explain(
    limits: &Limits,
    outcome: &Outcome<'_>,
    reasons: &mut Vec<LimitName>,
) -> NodeStatus {
    let rungs = outcome.rungs;
    let short = outcome.theta - rungs.factor(outcome.rung).ln();
    let (next, past) = match outcome.side {
        Side::Richer => (outcome.rung + 1, outcome.aim <= outcome.rung),
        Side::Leaner => (outcome.rung - 1, outcome.aim >= outcome.rung),
    };
    let next_factor = rungs.factor(next);
    if !past {
        reasons.extend(outcome.bounds.broken_by(next_factor));
        if breaks_neighbour(outcome, next_factor) {
            reasons.push(LimitName::Neighbour);
        }
    }
    let reached = past
        || match outcome.side {
            Side::Richer => next_factor >= outcome.theta.exp(),
            Side::Leaner => next_factor <= outcome.theta.exp(),
        };
    // Rounding is worth a word only where it leaves more than the tolerance.
    if reached && percent(short).abs() >= limits.deadband_percent.max(ROUNDING_PERCENT) {
        reasons.push(LimitName::Resolution);
    }
    reasons.sort_unstable();
    reasons.dedup();
    match (outcome.rung, reached) {
        (0, _) if reasons.contains(&LimitName::LeanProof) => NodeStatus::Unproven,
        (0, _) | (_, false) => NodeStatus::Limited,
        (_, true) => NodeStatus::Change,
    }
}

fn breaks_neighbour(outcome: &Outcome<'_>, factor: f64) -> bool {
    outcome.links.iter().any(|link| {
        let other = outcome.factors[link.other];
        match outcome.side {
            Side::Richer => factor > link.above.highest_over(other) * (1.0 + SLACK),
            Side::Leaner => factor < link.below.lowest_under(other) * (1.0 - SLACK),
        }
    })
}
