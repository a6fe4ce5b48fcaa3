//! How a smooth correction surface lies between its nodes.
//!
//! The need of an engine bends between the nodes of its table, and a reading taken half-way speaks of
//! the bend as well. theta at a point is the product of one cubic Hermite curve along each axis whose
//! slopes at the nodes are those of the parabola through a node and its two neighbours (of the outermost
//! three at an edge). The weights of the sixteen nodes around a point add up to one; outer ones can be
//! a little below zero. Coordinates: speed, and the root of the plate opening.
//! Source: Catmull and Rom (1974), with slopes for unequal spacing as in Bessel's interpolation
//! (de Boor, A Practical Guide to Splines, chapter IV).

use baytrim_model::axis::{Axes, Axis};

/// Nodes around a point with their weights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Node numbers.
    pub node: [u32; 16],
    /// Weights, which add up to one.
    pub weight: [f64; 16],
}

impl Default for Spread {
    fn default() -> Self {
        Self {
            node: [0; 16],
            weight: [0.0; 16],
        }
    }
}

impl Spread {
    /// Returns the value of a per-node list at the point.
    pub fn value(&self, per_node: &[f64]) -> f64 {
        self.node
            .iter()
            .zip(self.weight)
            .map(|(&node, weight)| weight * per_node[node as usize])
            .sum()
    }
}

/// Compresses the plate axis: air, and what goes with it, changes fastest near shut.
pub(crate) fn compress_plate(percent: f64) -> f64 {
    (percent.max(0.0) + 1.0).sqrt()
}

/// One cell of an axis: the four nodes of its stencil and the slopes at its two ends as weights of them.
#[derive(Debug, Clone, Copy, Default)]
struct Cell {
    node: [usize; 4],
    /// Places of the cell's ends in the stencil.
    end: [usize; 2],
    slope: [[f64; 4]; 2],
}

#[derive(Debug, Clone)]
struct CubicAxis {
    points: Vec<f64>,
    cells: Vec<Cell>,
}

/// Returns the weights of the slope at `at` of the parabola through `x`.
fn parabola_slope(x: [f64; 3], at: f64) -> [f64; 3] {
    let weight =
        |i: usize, j: usize, k: usize| (2.0 * at - x[j] - x[k]) / ((x[i] - x[j]) * (x[i] - x[k]));
    [weight(0, 1, 2), weight(1, 0, 2), weight(2, 0, 1)]
}

impl CubicAxis {
    fn new(points: Vec<f64>) -> Self {
        let count = points.len();
        let cells = (0..count - 1)
            .map(|cell| {
                let first = cell.saturating_sub(1).min(count.saturating_sub(4));
                let node = [0, 1, 2, 3].map(|offset| (first + offset).min(count - 1));
                let end = [cell - first, cell + 1 - first];
                let mut slope = [[0.0; 4]; 2];
                for (side, slope) in slope.iter_mut().enumerate() {
                    let here = cell + side;
                    if count == 2 {
                        let width = points[1] - points[0];
                        (slope[0], slope[1]) = (-1.0 / width, 1.0 / width);
                        continue;
                    }
                    let left = here.saturating_sub(1).min(count - 3);
                    let x = [points[left], points[left + 1], points[left + 2]];
                    for (offset, weight) in parabola_slope(x, points[here]).into_iter().enumerate()
                    {
                        slope[left + offset - first] += weight;
                    }
                }
                Cell { node, end, slope }
            })
            .collect();
        Self { points, cells }
    }

    fn weights(&self, value: f64, hint: &mut usize) -> (&Cell, [f64; 4]) {
        let last = self.cells.len() - 1;
        let mut cell = (*hint).min(last);
        while cell > 0 && value < self.points[cell] {
            cell -= 1;
        }
        while cell < last && value >= self.points[cell + 1] {
            cell += 1;
        }
        *hint = cell;
        let width = self.points[cell + 1] - self.points[cell];
        let u = ((value - self.points[cell]) / width).clamp(0.0, 1.0);
        let (square, cube) = (u * u, u * u * u);
        let rise = 3.0 * square - 2.0 * cube;
        let (slope_low, slope_high) = (cube - 2.0 * square + u, cube - square);
        let cell = &self.cells[cell];
        let mut weights = [0.0; 4];
        for (place, weight) in weights.iter_mut().enumerate() {
            *weight =
                width * (slope_low * cell.slope[0][place] + slope_high * cell.slope[1][place]);
        }
        weights[cell.end[0]] += 1.0 - rise;
        weights[cell.end[1]] += rise;
        (cell, weights)
    }
}

/// The smooth surface over a table's axes.
#[derive(Debug, Clone)]
pub struct Surface {
    rpm: CubicAxis,
    plate: CubicAxis,
    width: usize,
    hint: (usize, usize),
}

impl Surface {
    /// Prepares the surface over `axes`.
    pub fn new(axes: &Axes) -> Self {
        let points = |axis: &Axis, compress: fn(f64) -> f64| {
            CubicAxis::new(
                axis.breakpoints()
                    .iter()
                    .map(|&value| compress(value))
                    .collect(),
            )
        };
        Self {
            rpm: points(&axes.rpm, |rpm| rpm),
            plate: points(&axes.plate_percent, compress_plate),
            width: axes.rpm.len(),
            hint: (0, 0),
        }
    }

    /// Returns the nodes around a point with their weights; outside the axes, those of the nearest edge.
    pub fn spread(&mut self, rpm: f64, plate_percent: f64) -> Spread {
        let (across, rpm_weights) = self.rpm.weights(rpm, &mut self.hint.0);
        let (along, plate_weights) = self
            .plate
            .weights(compress_plate(plate_percent), &mut self.hint.1);
        let mut spread = Spread::default();
        let slots = spread.node.iter_mut().zip(&mut spread.weight);
        let pairs = along.node.iter().zip(plate_weights);
        let pairs = pairs.flat_map(|plate| {
            across
                .node
                .iter()
                .zip(rpm_weights)
                .map(move |rpm| (plate, rpm))
        });
        for ((node, weight), ((&j, plate_weight), (&i, rpm_weight))) in slots.zip(pairs) {
            *node = u32::try_from(j * self.width + i).unwrap_or(u32::MAX);
            *weight = plate_weight * rpm_weight;
        }
        spread
    }
}

#[cfg(test)]
mod tests {
    use super::{Surface, compress_plate};
    use baytrim_model::axis::{Axes, Axis};

    fn check(rpm: Vec<f64>, plate: Vec<f64>, surface: impl Fn(f64, f64) -> f64) {
        let axes = Axes {
            rpm: Axis::new("rpm", rpm).expect("sorted"),
            plate_percent: Axis::new("plate", plate).expect("sorted"),
        };
        let values: Vec<f64> = (0..axes.node_count())
            .map(|node| {
                let (x, y) = axes.position(node);
                surface(x, compress_plate(y))
            })
            .collect();
        let mut smooth = Surface::new(&axes);
        for (x, y) in [
            (1000.0, 0.0),
            (1700.0, 3.0),
            (3999.0, 99.0),
            (2000.0, 20.0),
            (4000.0, 100.0),
        ] {
            let spread = smooth.spread(x, y);
            assert!((spread.weight.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            let wanted = surface(x, compress_plate(y));
            assert!((spread.value(&values) - wanted).abs() < 1e-9, "{x} {y}");
        }
    }

    /// A surface that bends as a parabola must be met everywhere, edges included.
    #[test]
    fn a_parabola_is_reproduced() {
        let parabola = |x: f64, y: f64| {
            0.1 + 1e-4 * x - 2e-8 * x * x + 0.03 * y - 0.004 * y * y + 1e-5 * x * y
        };
        check(
            vec![1000.0, 1800.0, 3000.0, 4000.0],
            vec![0.0, 5.0, 20.0, 60.0, 100.0],
            parabola,
        );
        check(
            vec![1000.0, 2500.0, 4000.0],
            vec![0.0, 30.0, 100.0],
            parabola,
        );
    }

    /// The smallest table has no neighbours to take slopes from and is bilinear.
    #[test]
    fn two_by_two_is_bilinear() {
        check(vec![1000.0, 4000.0], vec![0.0, 100.0], |x, y| {
            1.0 + 1e-4 * x - 0.02 * y + 1e-5 * x * y
        });
    }
}
