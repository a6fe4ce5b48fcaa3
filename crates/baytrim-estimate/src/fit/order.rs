//! The order in which nodes stand in the equations: along the shorter axis first.

use baytrim_model::axis::Axes;

/// Position of each node in the equations.
#[derive(Debug, Clone)]
pub(crate) struct Order {
    /// Position by node.
    pub(crate) position: Vec<usize>,
}

impl Order {
    pub(crate) fn new(axes: &Axes) -> Self {
        let (speeds, plates) = (axes.rpm.len(), axes.plate_percent.len());
        let node: Vec<usize> = if speeds <= plates {
            (0..axes.node_count()).collect()
        } else {
            (0..speeds)
                .flat_map(|i| (0..plates).map(move |j| j * speeds + i))
                .collect()
        };
        let mut position = vec![0; node.len()];
        for (place, &node) in node.iter().enumerate() {
            position[node] = place;
        }
        Self { position }
    }
}
