//! How a vehicle is used: which nodes count, and how much.

use baytrim_model::axis::Axes;

/// How a vehicle is used.
#[derive(Debug, Clone, PartialEq)]
pub enum UseMap {
    /// Every node that a pull has visited counts alike.
    Visited,
    /// Streets: small and middling plate openings up to two thirds of the speed range, small ones most.
    Street,
    /// Track: from a fifth of the plate on in the upper two thirds of the speed range, large openings most.
    Track,
    /// Wide open: plates from 80 % on, all but the lowest fifth of the speed range.
    WideOpen,
    /// The owner's own weights, one per node in node order; 0 does not count.
    Own(Vec<f64>),
}

impl UseMap {
    /// Returns the weight of each node, in node order: 0 where it does not count.
    ///
    /// The shapes are common sense, not measured.
    pub fn weights(&self, axes: &Axes, visits: &[u32]) -> Vec<f64> {
        let (low, high) = (axes.rpm.first(), axes.rpm.last());
        let of = |node: usize| {
            let (rpm, plate) = axes.position(node);
            let speed = (rpm - low) / (high - low);
            match self {
                Self::Visited => f64::from(u8::from(visits[node] > 0)),
                Self::Street if plate <= 50.0 && speed <= 0.67 => (-plate / 20.0).exp(),
                Self::Track if plate >= 20.0 && speed >= 0.33 => 0.5 + plate / 200.0,
                Self::WideOpen if plate >= 80.0 && speed >= 0.2 => 1.0,
                Self::Street | Self::Track | Self::WideOpen => 0.0,
                Self::Own(weights) => weights.get(node).copied().unwrap_or(0.0).max(0.0),
            }
        };
        (0..axes.node_count()).map(of).collect()
    }
}
