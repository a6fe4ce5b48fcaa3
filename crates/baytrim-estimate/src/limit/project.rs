//! The best table within all limits: every node as near to its wish as they let it come.
//!
//! Every node moves from its present rung towards its wish and never past it, so its factor has a
//! highest (or lowest) permitted rung of its own, and a neighbour's limit only ever takes rungs away:
//! `factor_i <= g(factor_j)` with `g` rising. Sets of that form are closed under the node-wise
//! maximum, so among all permitted tables one is nearest to **every** node's wish at once. It is the
//! minimiser of any weighted sum of squared (or other rising) shortfalls, and lowering nodes one by
//! one until nothing is broken ends there, in whatever order. See Bellman 1958 and Dijkstra 1959 for
//! differences with constant bounds, and Davey and Priestley, "Introduction to Lattices and Order",
//! on closure under meet and join, for the general form.
//!
//! Enrichment goes first, with the nodes that give up fuel still at their present value; those then
//! go as far as the enriched table lets them. Where the two pull apart it is the richer that wins.

use std::collections::BinaryHeap;

use super::neighbours::Link;
use super::rungs::{Rungs, SLACK};

/// Which nodes are to be settled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// Those above their present rung.
    Richer,
    /// Those below their present rung.
    Leaner,
}

impl Side {
    /// Returns the order of settling as a key whose largest goes first.
    ///
    /// A node is held by neighbours that moved less, so these go first and few nodes are met twice.
    fn key(self, factor: f64) -> u64 {
        // The bits of positive numbers are ordered as the numbers.
        match self {
            Self::Richer => !factor.to_bits(),
            Self::Leaner => factor.to_bits(),
        }
    }

    /// Returns the rung nearest to `rung` that a neighbour at `factor` permits, where `rung` itself
    /// is too far. Rung 0 is always permitted.
    fn held(self, rungs: &Rungs, rung: i64, link: &Link, factor: f64) -> Option<i64> {
        match self {
            Self::Richer if rung > 0 => {
                let most = link.below.highest_over(factor);
                (rungs.factor(rung) > most * (1.0 + SLACK))
                    .then(|| rungs.highest_within(most).clamp(0, rung - 1))
            }
            Self::Leaner if rung < 0 => {
                let least = link.above.lowest_under(factor);
                (rungs.factor(rung) < least * (1.0 - SLACK))
                    .then(|| rungs.lowest_within(least).clamp(rung + 1, 0))
            }
            _ => None,
        }
    }
}

/// Moves nodes of `side` back towards rung 0 until no neighbour limit is broken, and none further.
///
/// `chosen` holds each node's rung; nodes of the other side count with the rung that they have.
pub(super) fn settle(side: Side, rungs: &[Rungs], links: &[Vec<Link>], chosen: &mut [i64]) {
    let entry = |node: usize, rung: i64| (side.key(rungs[node].factor(rung)), node, rung);
    let mut queue: BinaryHeap<_> = chosen
        .iter()
        .enumerate()
        .map(|(node, &rung)| entry(node, rung))
        .collect();
    while let Some((_, node, rung)) = queue.pop() {
        if chosen[node] != rung {
            continue;
        }
        let factor = rungs[node].factor(rung);
        for link in &links[node] {
            let other = link.other;
            if let Some(held) = side.held(&rungs[other], chosen[other], link, factor) {
                chosen[other] = held;
                queue.push(entry(other, held));
            }
        }
    }
}
