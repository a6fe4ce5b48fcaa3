//! How far nodes next to each other may differ.

use baytrim_model::axis::Axes;
use baytrim_model::limits::Limits;

/// How far one node may lie above the other, as fuel over the base table's fuel.
///
/// "12 %" is held in both of its readings: the factors' ratio is at most 1.12, and the changes from
/// base in percent differ by at most 12. A pair that is further apart already may stay as far apart.
#[derive(Debug, Clone, Copy)]
pub(super) struct Allowance {
    ratio: f64,
    difference: f64,
}

impl Allowance {
    fn new(limits: &Limits, upper_head: f64, lower_head: f64) -> Self {
        let limit = limits.neighbour_percent / 100.0;
        Self {
            ratio: (1.0 + limit).max(upper_head / lower_head),
            difference: limit.max(upper_head - lower_head),
        }
    }

    /// Returns the largest factor of the upper node over a lower one at `lower`.
    pub(super) fn highest_over(self, lower: f64) -> f64 {
        (self.ratio * lower).min(lower + self.difference)
    }

    /// Returns the smallest factor of the lower node under an upper one at `upper`.
    pub(super) fn lowest_under(self, upper: f64) -> f64 {
        (upper / self.ratio).max(upper - self.difference)
    }
}

/// One node as its neighbour sees it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Link {
    /// The other node.
    pub(super) other: usize,
    /// How far this node may lie above the other.
    pub(super) above: Allowance,
    /// How far the other may lie above this node.
    pub(super) below: Allowance,
}

/// Returns the links of every node; `head_factors` is the table in force.
pub(super) fn links(axes: &Axes, limits: &Limits, head_factors: &[f64]) -> Vec<Vec<Link>> {
    let mut links = vec![Vec::with_capacity(4); head_factors.len()];
    for (one, two) in axes.neighbours() {
        let above = Allowance::new(limits, head_factors[one], head_factors[two]);
        let below = Allowance::new(limits, head_factors[two], head_factors[one]);
        links[one].push(Link {
            other: two,
            above,
            below,
        });
        links[two].push(Link {
            other: one,
            above: below,
            below: above,
        });
    }
    links
}
