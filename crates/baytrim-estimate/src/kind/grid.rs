//! The coarse grid of a kind: from needs on it to needs at any node, and how needs go together over it.

use baytrim_model::axis::{Axes, Axis};
use nalgebra::{DMatrix, DVector};

use crate::surface::{Surface, compress_plate};

use super::evidence::Vehicle;

/// Most breakpoints of the grid along an axis: needs bend over a fifth of the range or more.
const BREAKPOINTS_MAX: usize = 8;
/// Standard deviation of what the coarse grid cannot show, ln units, and the share of the range over which it varies.
pub(super) const FINE: (f64, f64) = (0.004, 0.06);
/// Most breakpoints along an axis of the table on which that is told from the rest: what it costs grows with the third
/// power of the nodes.
const FINE_BREAKPOINTS_MAX: usize = 24;
/// Standard deviation of the need of a node outside the grid, which nothing on the grid tells, ln units.
const OUTSIDE_SD: f64 = 0.1;

/// The coarse grid over the axes of a table.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    pub(super) axes: Axes,
}

fn thinned(axis: &Axis, most: usize) -> Axis {
    let all = axis.breakpoints();
    let count = all.len().min(most);
    let chosen = (0..count).map(|index| all[index * (all.len() - 1) / (count - 1).max(1)]);
    Axis::new("grid", chosen.collect()).unwrap_or_else(|_| axis.clone())
}

impl Grid {
    /// Returns the grid for a table with `axes`.
    pub(super) fn new(axes: &Axes) -> Self {
        Self::of(axes, BREAKPOINTS_MAX)
    }

    fn of(axes: &Axes, most: usize) -> Self {
        let axes = Axes {
            rpm: thinned(&axes.rpm, most),
            plate_percent: thinned(&axes.plate_percent, most),
        };
        Self { axes }
    }

    pub(super) fn len(&self) -> usize {
        self.axes.node_count()
    }

    /// Returns the matrix that turns needs on the grid into needs at the nodes of `axes`.
    pub(super) fn at_nodes(&self, axes: &Axes) -> DMatrix<f64> {
        let mut surface = Surface::new(&self.axes);
        let mut weights = DMatrix::zeros(axes.node_count(), self.len());
        for node in 0..axes.node_count() {
            let (rpm, plate_percent) = axes.position(node);
            let spread = surface.spread(rpm, plate_percent);
            for (&place, weight) in spread.node.iter().zip(spread.weight) {
                weights[(node, place as usize)] += weight;
            }
        }
        weights
    }

    /// Returns whether a node lies within the grid.
    pub(super) fn holds(&self, (rpm, plate_percent): (f64, f64)) -> bool {
        let inside = |axis: &Axis, value: f64| {
            let slack = 1e-6 * (axis.last() - axis.first());
            value >= axis.first() - slack && value <= axis.last() + slack
        };
        inside(&self.axes.rpm, rpm) && inside(&self.axes.plate_percent, plate_percent)
    }

    /// Returns what a vehicle says of the needs on the grid: precision and right side. What it says of nodes outside
    /// is left out, with what depends on them; and each node may differ from the grid's surface by [`FINE`], or the
    /// bends between the grid's points would pass for sure knowledge of the points.
    pub(super) fn evidence(&self, vehicle: &Vehicle<'_>) -> (DMatrix<f64>, DVector<f64>) {
        let (axes, all, right) = blurred(vehicle);
        let held = |node: &usize| self.holds(axes.position(*node));
        let (inside, outside): (Vec<usize>, Vec<usize>) = (0..axes.node_count()).partition(held);
        let pick = |rows: &[usize], columns: &[usize]| {
            DMatrix::from_fn(rows.len(), columns.len(), |i, j| all[(rows[i], columns[j])])
        };
        let some = |rows: &[usize]| DVector::from_fn(rows.len(), |i, _| right[rows[i]]);
        let (mut precision, mut known) = (pick(&inside, &inside), some(&inside));
        if !outside.is_empty() {
            let mut own = pick(&outside, &outside);
            for place in 0..outside.len() {
                own[(place, place)] += 1.0 / (OUTSIDE_SD * OUTSIDE_SD);
            }
            if let Some(own) = own.cholesky() {
                let across = pick(&outside, &inside);
                precision -= across.tr_mul(&own.solve(&across));
                known -= across.tr_mul(&own.solve(&some(&outside)));
            }
        }
        let every = self.at_nodes(&axes);
        let weights = DMatrix::from_fn(inside.len(), self.len(), |i, j| every[(inside[i], j)]);
        let precision = weights.tr_mul(&(precision * &weights));
        (
            0.5 * (&precision + precision.transpose()),
            weights.tr_mul(&known),
        )
    }

    /// Returns how needs go together that vary over `length` of an axis' range: 1 at one place, falling as a normal
    /// curve of the distance.
    pub(super) fn correlation(&self, length: f64) -> DMatrix<f64> {
        let places = self.places(&self.axes);
        correlation(&places, length)
    }

    /// Returns the nodes of `axes` in shares of the grid's range, plate compressed.
    pub(super) fn places(&self, axes: &Axes) -> Vec<[f64; 2]> {
        let share = |axis: &Axis, value: f64, compress: fn(f64) -> f64| {
            let (first, last) = (compress(axis.first()), compress(axis.last()));
            (compress(value) - first) / (last - first)
        };
        let place = |node| {
            let (rpm, plate_percent) = axes.position(node);
            [
                share(&self.axes.rpm, rpm, |rpm| rpm),
                share(&self.axes.plate_percent, plate_percent, compress_plate),
            ]
        };
        (0..axes.node_count()).map(place).collect()
    }
}

/// Returns the axes, precision and right side of what a vehicle says of its needs save for [`FINE`], on its own table
/// or one of fewer breakpoints: with F the covariance of that, `(I + L F)^-1` times either.
fn blurred(vehicle: &Vehicle<'_>) -> (Axes, DMatrix<f64>, DVector<f64>) {
    let shift = DVector::from_column_slice(&vehicle.shift);
    let mut precision = vehicle.evidence.precision.clone();
    let mut right = &vehicle.evidence.right + &precision * shift;
    let middle = Grid::of(vehicle.axes, FINE_BREAKPOINTS_MAX);
    if middle.len() < vehicle.axes.node_count() {
        let weights = middle.at_nodes(vehicle.axes);
        precision = weights.tr_mul(&(precision * &weights));
        right = weights.tr_mul(&right);
    }
    let (sd, length) = FINE;
    let fine = middle.correlation(length) * (sd * sd);
    let widened = DMatrix::identity(middle.len(), middle.len()) + &precision * fine;
    let widened = widened.lu();
    let solved = widened.solve(&precision).zip(widened.solve(&right));
    // I + L F has no eigenvalue below one: it can be solved.
    let (precision, right) = solved.unwrap_or((precision, right));
    (middle.axes, precision, right)
}

/// Returns the correlation of needs at `places` that vary over `length`.
pub(super) fn correlation(places: &[[f64; 2]], length: f64) -> DMatrix<f64> {
    DMatrix::from_fn(places.len(), places.len(), |i, j| {
        let [a, b] = [0, 1].map(|axis| (places[i][axis] - places[j][axis]) / length);
        (-0.5 * (a * a + b * b)).exp()
    })
}
