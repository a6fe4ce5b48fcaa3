//! The order in which nodes stand in the equations: along one axis first.

use baytrim_model::axis::Axes;

use crate::evidence::PullEvidence;

use super::episode::Episodes;

/// Position of each node in the equations.
#[derive(Debug, Clone)]
pub(crate) struct Order {
    /// Position by node.
    pub(crate) position: Vec<usize>,
}

impl Order {
    /// Returns the order along the shorter axis first.
    #[cfg(test)]
    pub(crate) fn new(axes: &Axes) -> Self {
        let [shorter, _] = Self::both(axes);
        shorter
    }

    /// Returns the orders along the shorter and along the longer axis; along plate where they are alike.
    fn both(axes: &Axes) -> [Self; 2] {
        let (speeds, plates) = (axes.rpm.len(), axes.plate_percent.len());
        let along_rpm = Self {
            position: (0..axes.node_count()).collect(),
        };
        let along_plate = (0..axes.node_count()).map(|node| node % speeds * plates + node / speeds);
        let along_plate = Self {
            position: along_plate.collect(),
        };
        if speeds < plates {
            [along_rpm, along_plate]
        } else {
            [along_plate, along_rpm]
        }
    }

    /// Returns the episodes of `pulls` in the order that makes the equations cheapest to factor: the one with
    /// the smaller sum of squared row widths. Which it is depends on where episodes reach across, not on the
    /// axes alone.
    pub(crate) fn cheapest(axes: &Axes, pulls: &[&PullEvidence]) -> (Self, Episodes) {
        let [usual, other] = Self::both(axes);
        let episodes = Episodes::new(axes, &usual, pulls);
        let mut moved = vec![0; usual.position.len()];
        for (&from, &to) in usual.position.iter().zip(&other.position) {
            moved[from] = to;
        }
        if cost(episodes.envelope_in(axes, &other, |place| moved[place]))
            < cost(episodes.envelope(axes, &usual))
        {
            let episodes = Episodes::new(axes, &other, pulls);
            (other, episodes)
        } else {
            (usual, episodes)
        }
    }
}

/// Returns what a factorisation costs, in multiplications.
fn cost(first: Vec<usize>) -> usize {
    let widths = first.into_iter().enumerate();
    widths.map(|(row, first)| (row - first + 1).pow(2)).sum()
}

#[cfg(test)]
mod tests {
    use super::Order;
    use baytrim_model::axis::{Axes, Axis};

    /// If this fails, two nodes share a place in the equations, or the wrong axis is followed.
    #[test]
    fn each_order_goes_along_its_axis() {
        let axes = Axes {
            rpm: Axis::new("rpm", vec![1000.0, 2000.0, 4000.0]).expect("sorted"),
            plate_percent: Axis::new("plate", vec![0.0, 100.0]).expect("sorted"),
        };
        let [along_plate, along_rpm] = Order::both(&axes);
        assert_eq!(along_rpm.position[axes.node(2, 0)], 2);
        assert_eq!(along_plate.position[axes.node(0, 1)], 1);
        assert_eq!(along_plate.position[axes.node(2, 0)], 4);
        assert_eq!(Order::new(&axes).position, along_plate.position);
    }
}
