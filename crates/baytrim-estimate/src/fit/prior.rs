//! What is known of a correction surface before any pull: it is smooth.
//!
//! Along each axis the second divided differences of theta are small:
//! ((t2-t1)/(x2-x1) - (t1-t0)/(x1-x0)) / sqrt((x2-x0)/2) has one standard deviation for the whole
//! axis, in a coordinate x that is the speed or the root of the plate opening, scaled to a mean
//! spacing of one. A weak prior on the mean level and on
//! the differences of neighbours keeps corners without data from running away.
//! Source: smoothness priors as in Eilers and Marx (1996) and Rue and Held (2005), section 3.

use baytrim_model::axis::{Axes, Axis};

use crate::surface::compress_plate;

use super::envelope::Envelope;
use super::order::Order;

/// Standard deviation of the table's mean theta before any pull, ln units. Common practice: past 25 to
/// 30 % something else is wrong.
pub(super) const LEVEL_SD: f64 = 0.10;
/// Standard deviation of the difference between neighbours at the mean spacing before any pull, ln units.
pub(super) const SLOPE_SD: f64 = 0.06;

/// Second differences along each axis, as matrices to be scaled.
#[derive(Debug, Clone)]
pub(crate) struct Smoothness {
    /// Along rpm, then along plate.
    along: [Envelope; 2],
    /// What holds level and slopes, whatever the evidence.
    anchor: Envelope,
}

/// Returns the coordinate of an axis: compressed, mean spacing one.
fn coordinate(axis: &Axis, compress: impl Fn(f64) -> f64) -> Vec<f64> {
    let compressed: Vec<f64> = axis
        .breakpoints()
        .iter()
        .map(|&value| compress(value))
        .collect();
    let last = compressed.len() - 1;
    let scale = last as f64 / (compressed[last] - compressed[0]);
    compressed
        .iter()
        .map(|value| (value - compressed[0]) * scale)
        .collect()
}

/// Returns the coordinates of the breakpoints along rpm and along plate.
pub(super) fn coordinates(axes: &Axes) -> [Vec<f64>; 2] {
    [
        coordinate(&axes.rpm, |rpm| rpm),
        coordinate(&axes.plate_percent, compress_plate),
    ]
}

/// Returns the coefficients of one second difference.
pub(super) fn difference(x: [f64; 3]) -> [f64; 3] {
    let (left, right) = (x[1] - x[0], x[2] - x[1]);
    let scale = (0.5 * (x[2] - x[0])).sqrt();
    [
        1.0 / (left * scale),
        -(1.0 / left + 1.0 / right) / scale,
        1.0 / (right * scale),
    ]
}

/// Returns the triples of nodes in a line along both axes: (0 for rpm or 1 for plate, nodes, coefficients).
pub(crate) fn differences(axes: &Axes) -> Vec<(usize, [usize; 3], [f64; 3])> {
    let [speed, plate] = coordinates(axes);
    let mut all = Vec::new();
    for j in 0..plate.len() {
        for i in 1..speed.len().saturating_sub(1) {
            let nodes = [i - 1, i, i + 1].map(|i| axes.node(i, j));
            all.push((0, nodes, difference([speed[i - 1], speed[i], speed[i + 1]])));
        }
    }
    for i in 0..speed.len() {
        for j in 1..plate.len().saturating_sub(1) {
            let nodes = [j - 1, j, j + 1].map(|j| axes.node(i, j));
            all.push((1, nodes, difference([plate[j - 1], plate[j], plate[j + 1]])));
        }
    }
    all
}

/// Returns the weak prior on level and slopes.
fn anchor(axes: &Axes, order: &Order, zero: &Envelope) -> Envelope {
    let mut anchor = zero.clone();
    let nodes = axes.node_count();
    for place in 0..nodes {
        anchor.add(place, place, 1.0 / (LEVEL_SD * LEVEL_SD * nodes as f64));
    }
    let [speed, plate] = coordinates(axes);
    for (left, right) in axes.neighbours() {
        let ((i, j), (k, l)) = (axes.indices(left), axes.indices(right));
        let width = (speed[k] - speed[i]) + (plate[l] - plate[j]);
        let precision = 1.0 / (SLOPE_SD * SLOPE_SD * width);
        let (a, b) = (order.position[left], order.position[right]);
        anchor.add(a, a, precision);
        anchor.add(b, b, precision);
        anchor.add(a, b, -precision);
    }
    anchor
}

/// Returns the narrowest envelope that holds the prior.
pub(crate) fn own_envelope(axes: &Axes, order: &Order) -> Vec<usize> {
    let mut first: Vec<usize> = (0..axes.node_count()).collect();
    for (_, nodes, _) in differences(axes) {
        let places = nodes.map(|node| order.position[node]);
        let low = places[0].min(places[1]).min(places[2]);
        for place in places {
            first[place] = first[place].min(low);
        }
    }
    for (left, right) in axes.neighbours() {
        let (a, b) = (order.position[left], order.position[right]);
        first[a.max(b)] = first[a.max(b)].min(a.min(b));
    }
    first
}

impl Smoothness {
    /// Returns the second differences as matrices of the envelope `zero`.
    pub(crate) fn new(axes: &Axes, order: &Order, zero: &Envelope) -> Self {
        let mut along = [zero.clone(), zero.clone()];
        for (axis, nodes, coefficients) in differences(axes) {
            for (a, &node_a) in nodes.iter().enumerate() {
                for (b, &node_b) in nodes.iter().enumerate().take(a + 1) {
                    let (i, j) = (order.position[node_a], order.position[node_b]);
                    along[axis].add(i, j, coefficients[a] * coefficients[b]);
                }
            }
        }
        Self {
            along,
            anchor: anchor(axes, order, zero),
        }
    }

    /// Returns the prior's precision for standard deviations of a difference along each axis.
    pub(crate) fn of_sd(&self, sd: [f64; 2]) -> Envelope {
        self.precision(sd.map(|sd| 1.0 / (sd * sd)))
    }

    /// Returns the prior's precision for strengths (1 / variance of a difference) along each axis.
    pub(crate) fn precision(&self, strength: [f64; 2]) -> Envelope {
        let [speed, plate] = &self.along;
        self.anchor
            .plus([(speed, strength[0]), (plate, strength[1])])
    }
}

/// Standard deviation of a second difference along rpm and plate before any pull, ln units.
pub(crate) const DIFFERENCE_SD: f64 = 0.02;
/// Bounds of that standard deviation.
const DIFFERENCE_SD_RANGE: (f64, f64) = (0.003, 0.15);
/// Spread of ln(standard deviation) from engine to engine.
const DIFFERENCE_LOG_SD: f64 = 0.8;

/// Moves the standard deviations of the differences to where the evidence is likeliest, by one round
/// of steps of `step` in their logarithm.
pub(crate) fn search(
    badness: impl Fn([f64; 2]) -> Option<f64>,
    difference_sd: &mut [f64; 2],
    step: f64,
) {
    let (low, high) = DIFFERENCE_SD_RANGE;
    let total = |sd: [f64; 2]| {
        let prior: f64 = sd
            .iter()
            .map(|sd| {
                let away = (sd / DIFFERENCE_SD).ln() / DIFFERENCE_LOG_SD;
                away * away
            })
            .sum();
        badness(sd).map_or(f64::INFINITY, |badness| badness + prior)
    };
    let mut best = total(*difference_sd);
    for axis in 0..2 {
        for direction in [1.0, -1.0] {
            let mut tried = *difference_sd;
            tried[axis] = (tried[axis] * f64::exp(direction * step)).clamp(low, high);
            let value = total(tried);
            if value < best {
                (best, *difference_sd) = (value, tried);
                break;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::differences;
    use baytrim_model::axis::{Axes, Axis};

    /// A surface that is straight in the compressed coordinates must cost nothing.
    #[test]
    fn a_straight_surface_has_no_second_differences() {
        let axes = Axes {
            rpm: Axis::new("rpm", vec![1000.0, 1500.0, 3000.0, 8000.0]).expect("sorted"),
            plate_percent: Axis::new("plate", vec![0.0, 2.0, 10.0, 50.0, 100.0]).expect("sorted"),
        };
        let straight: Vec<f64> = (0..axes.node_count())
            .map(|node| {
                let (rpm, plate) = axes.position(node);
                0.3 + 2e-5 * rpm - 0.1 * (plate + 1.0).sqrt()
            })
            .collect();
        for (_, nodes, coefficients) in differences(&axes) {
            let value: f64 = nodes
                .iter()
                .zip(coefficients)
                .map(|(&n, c)| straight[n] * c)
                .sum();
            assert!(value.abs() < 1e-12, "{value}");
        }
    }
}
