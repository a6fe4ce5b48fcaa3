//! Comparing a proposal with the same one computed again.

use baytrim_model::proposal::{NodeChange, Proposal};

/// What computing a proposal again came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Whether every number is the same to the last bit.
    pub is_identical: bool,
    /// Nodes of which any number differs, in node order.
    pub differing: Vec<NodeDifference>,
}

/// One node that came out otherwise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NodeDifference {
    /// The node, in node order.
    pub node: usize,
    /// The table value that was proposed, and the one that comes out now.
    pub after: [f64; 2],
    /// The estimate in percent of fuel that was recorded, and the one that comes out now.
    pub correction_percent: [f64; 2],
    /// Its standard error in percent of fuel, likewise.
    pub standard_error_percent: [f64; 2],
}

impl NodeDifference {
    /// Returns whether another value would be proposed now.
    #[expect(clippy::float_cmp, reason = "the very same number, or another")]
    pub fn is_other_value(&self) -> bool {
        self.after[0] != self.after[1]
    }
}

/// Returns how `again` differs from `recorded`: two proposals of the same job from the same pulls.
pub fn compare(recorded: &Proposal, again: &Proposal) -> Comparison {
    let pairs = recorded.nodes.iter().zip(&again.nodes).enumerate();
    let differing = pairs
        .filter(|(_, (then, now))| then != now)
        .map(|(node, (then, now))| difference(node, then, now));
    Comparison {
        is_identical: recorded.nodes == again.nodes
            && recorded.grip == again.grip
            && recorded.fit == again.fit
            && recorded.base_revision == again.base_revision
            && recorded.start == again.start,
        differing: differing.collect(),
    }
}

fn difference(node: usize, then: &NodeChange, now: &NodeChange) -> NodeDifference {
    NodeDifference {
        node,
        after: [then.after, now.after],
        correction_percent: [then.correction_percent, now.correction_percent],
        standard_error_percent: [then.standard_error_percent, now.standard_error_percent],
    }
}
