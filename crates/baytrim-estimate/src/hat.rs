//! The bilinear weights of an operating point on the nodes around it.
//!
//! With u and v the fractions of the way through the cell along rpm and plate,
//! phi = [(1-u)(1-v), u(1-v), (1-u)v, uv].

use baytrim_model::axis::Axes;

/// The four nodes around an operating point with their weights, which add up to one.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Hat {
    /// Node numbers; where a weight is zero its node still lies in the table.
    pub node: [u32; 4],
    /// Weights, 0 to 1.
    pub weight: [f64; 4],
}

impl Hat {
    /// Returns the interpolated value of a per-node list.
    pub fn value(&self, per_node: &[f64]) -> f64 {
        (0..4)
            .map(|corner| self.weight[corner] * per_node[self.node[corner] as usize])
            .sum()
    }
}

/// Returns the cell (index of its lower breakpoint) and the fraction of the way through it, 0 to 1.
///
/// `hint` is the cell of the operating point before, which is usually the cell again.
fn locate(breakpoints: &[f64], value: f64, hint: usize) -> (usize, f64) {
    let last = breakpoints.len() - 2;
    let mut cell = hint.min(last);
    while cell > 0 && value < breakpoints[cell] {
        cell -= 1;
    }
    while cell < last && value >= breakpoints[cell + 1] {
        cell += 1;
    }
    let fraction = (value - breakpoints[cell]) / (breakpoints[cell + 1] - breakpoints[cell]);
    (cell, fraction.clamp(0.0, 1.0))
}

/// Finds hats, remembering the cell of the point before.
#[derive(Debug, Clone, Copy, Default)]
pub struct HatFinder {
    rpm_cell: usize,
    plate_cell: usize,
}

impl HatFinder {
    /// Returns the hat of an operating point; outside the axes, that of the nearest edge.
    pub fn find(&mut self, axes: &Axes, rpm: f64, plate_percent: f64) -> Hat {
        let (i, u) = locate(axes.rpm.breakpoints(), rpm, self.rpm_cell);
        let (j, v) = locate(
            axes.plate_percent.breakpoints(),
            plate_percent,
            self.plate_cell,
        );
        (self.rpm_cell, self.plate_cell) = (i, j);
        let width = axes.rpm.len();
        let base = j * width + i;
        let nodes = [base, base + 1, base + width, base + width + 1];
        Hat {
            node: nodes.map(|node| u32::try_from(node).unwrap_or(u32::MAX)),
            weight: [(1.0 - u) * (1.0 - v), u * (1.0 - v), (1.0 - u) * v, u * v],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::HatFinder;
    use baytrim_model::axis::{Axes, Axis};

    /// A hat that did not reproduce a bilinear surface would blur every table.
    #[test]
    fn a_bilinear_surface_is_reproduced() {
        let axes = Axes {
            rpm: Axis::new("rpm", vec![1000.0, 2000.0, 4000.0]).expect("sorted"),
            plate_percent: Axis::new("plate", vec![0.0, 5.0, 20.0, 100.0]).expect("sorted"),
        };
        let surface = |x: f64, y: f64| 1.0 + x * 1e-3 - y * 0.02 + x * y * 1e-5;
        let values: Vec<f64> = (0..axes.node_count())
            .map(|node| {
                let (x, y) = axes.position(node);
                surface(x, y)
            })
            .collect();
        let mut finder = HatFinder::default();
        for (x, y) in [
            (1500.0, 3.0),
            (3999.0, 99.0),
            (1000.0, 0.0),
            (4000.0, 100.0),
            (2100.0, 5.0),
        ] {
            let hat = finder.find(&axes, x, y);
            assert!((hat.weight.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            assert!(
                (hat.value(&values) - surface(x, y)).abs() < 1e-12,
                "{x} {y}"
            );
        }
    }
}
