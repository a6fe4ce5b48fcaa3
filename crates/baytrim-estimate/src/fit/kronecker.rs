//! The determinant of the prior, from its two axes.
//!
//! Every term of the prior acts along one axis and is the same on all lines of it, so the precision is a Kronecker
//! sum, K = I (x) S + P (x) I with S along rpm and P along plate, and its eigenvalues are the sums of one of S and one
//! of P. That makes ln det K two small eigenproblems instead of a factorisation of the whole.
//! Source: Golub and Van Loan, *Matrix Computations*, section on Kronecker structure, from memory.

use baytrim_model::axis::Axes;
use nalgebra::DMatrix;

use super::prior::{self, LEVEL_SD, SLOPE_SD};

/// What acts along one axis.
#[derive(Debug, Clone)]
struct Line {
    /// Second differences, to be scaled by their strength.
    differences: DMatrix<f64>,
    /// What holds slopes, whatever the evidence.
    slopes: DMatrix<f64>,
}

/// The prior as what acts along rpm and along plate.
#[derive(Debug, Clone)]
pub(crate) struct KroneckerPrior {
    lines: [Line; 2],
    /// What holds the level at each node.
    level: f64,
}

impl KroneckerPrior {
    pub(crate) fn new(axes: &Axes) -> Self {
        Self {
            lines: prior::coordinates(axes).map(|x| Line::new(&x)),
            level: 1.0 / (LEVEL_SD * LEVEL_SD * axes.node_count() as f64),
        }
    }

    /// Returns ln det of the prior's precision for standard deviations of a difference along each axis.
    pub(crate) fn ln_determinant(&self, sd: [f64; 2]) -> f64 {
        let [speed, plate] = [0, 1].map(|axis| {
            let line = &self.lines[axis];
            let along = &line.slopes + &line.differences / (sd[axis] * sd[axis]);
            along.symmetric_eigenvalues()
        });
        let sums = plate
            .iter()
            .flat_map(|p| speed.iter().map(move |s| p.max(0.0) + s.max(0.0)));
        sums.map(|sum| (self.level + sum).ln()).sum()
    }
}

impl Line {
    fn new(x: &[f64]) -> Self {
        let mut differences = DMatrix::zeros(x.len(), x.len());
        for (first, triple) in x.windows(3).enumerate() {
            let coefficients = prior::difference([triple[0], triple[1], triple[2]]);
            for (a, left) in coefficients.iter().enumerate() {
                for (b, right) in coefficients.iter().enumerate() {
                    differences[(first + a, first + b)] += left * right;
                }
            }
        }
        let mut slopes = DMatrix::zeros(x.len(), x.len());
        for (first, pair) in x.windows(2).enumerate() {
            let precision = 1.0 / (SLOPE_SD * SLOPE_SD * (pair[1] - pair[0]));
            slopes[(first, first)] += precision;
            slopes[(first + 1, first + 1)] += precision;
            slopes[(first, first + 1)] -= precision;
            slopes[(first + 1, first)] -= precision;
        }
        Self {
            differences,
            slopes,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::KroneckerPrior;
    use crate::fit::envelope::Envelope;
    use crate::fit::order::Order;
    use crate::fit::prior::{Smoothness, own_envelope};
    use baytrim_model::axis::{Axes, Axis};

    /// If this fails, the strength of the prior is searched with a determinant that is not that of the prior in use.
    #[test]
    fn the_determinant_is_that_of_the_factored_prior() {
        let axes = Axes {
            rpm: Axis::new("rpm", vec![1000.0, 1500.0, 3000.0, 4000.0, 8000.0]).expect("sorted"),
            plate_percent: Axis::new("plate", vec![0.0, 2.0, 10.0, 100.0]).expect("sorted"),
        };
        let order = Order::new(&axes);
        let zero = Envelope::zero(own_envelope(&axes, &order));
        let smoothness = Smoothness::new(&axes, &order, &zero);
        for sd in [[0.02, 0.02], [0.003, 0.15], [0.1, 0.004]] {
            let factored = smoothness.of_sd(sd).cholesky().expect("positive definite");
            let found = KroneckerPrior::new(&axes).ln_determinant(sd);
            assert!((found - factored.ln_determinant()).abs() < 1e-8, "{found}");
        }
    }
}
