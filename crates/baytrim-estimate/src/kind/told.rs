//! What a kind tells, at the nodes of a table and in the equations of a fit.
//!
//! A covariance of all nodes is dense and the equations are not. Node by node in their order, a node given those before
//! it in its row of the envelope is `x = sum b_j x_j + e`, and the precision is the sum over nodes of `r r' / var e`
//! with `r = (1, -b)`. Of all precisions of that shape it is the nearest by Kullback and Leibler. Source: Vecchia (1988),
//! J. Royal Statistical Society B 50; `Schaefer`, Katzfuss and Owhadi (2021), SIAM J. Scientific Computing 43(3).

use baytrim_model::axis::{Axes, Axis};
use baytrim_model::library::KindPrior;
use nalgebra::{DMatrix, DVector};

use super::evidence::{NeedEvidence, Vehicle};
use super::grid::{FINE, Grid, correlation};
use crate::fit::{Envelope, Order};
use crate::limit::normal::chance_below;

/// What a kind tells at the nodes of a table, in node order.
#[derive(Debug, Clone)]
pub(crate) struct Told {
    mean: DVector<f64>,
    covariance: DMatrix<f64>,
}

/// Returns the grid of a prior with its mean and covariance; none where they do not fit each other.
fn on_grid(prior: &KindPrior) -> Option<(Grid, DVector<f64>, DMatrix<f64>)> {
    let grid = Grid {
        axes: Axes {
            rpm: Axis::new("rpm", prior.rpm.clone()).ok()?,
            plate_percent: Axis::new("plate_percent", prior.plate_percent.clone()).ok()?,
        },
    };
    let size = grid.len();
    if prior.mean.len() != size || prior.covariance.len() != size * (size + 1) / 2 {
        return None;
    }
    let entry = |i: usize, j: usize| {
        let (row, column) = (i.max(j), i.min(j));
        prior.covariance[row * (row + 1) / 2 + column]
    };
    let covariance = DMatrix::from_fn(size, size, entry);
    Some((grid, DVector::from_column_slice(&prior.mean), covariance))
}

impl Told {
    /// Returns what `prior` tells of the nodes of `axes`; none where it is damaged.
    pub(crate) fn new(axes: &Axes, prior: &KindPrior) -> Option<Self> {
        let (grid, mean, covariance) = on_grid(prior)?;
        let weights = grid.at_nodes(axes);
        let (sd, length) = FINE;
        let fine = correlation(&grid.places(axes), length) * (sd * sd);
        Some(Self {
            mean: &weights * mean,
            covariance: &weights * covariance * weights.transpose() + fine,
        })
    }

    /// Returns the precision in the envelope `zero`, and the precision times the mean, both by position; none where
    /// the covariance is not positive definite.
    pub(crate) fn in_envelope(
        &self,
        order: &Order,
        zero: &Envelope,
    ) -> Option<(Envelope, Vec<f64>)> {
        let count = order.position.len();
        let mut node = vec![0; count];
        for (at, &place) in order.position.iter().enumerate() {
            node[place] = at;
        }
        let entry = |i: usize, j: usize| self.covariance[(node[i], node[j])];
        let mut precision = zero.clone();
        let mut right = vec![0.0; count];
        let mut from = 0;
        for place in 0..count {
            // Never back before a row between began, so that every product lies in the envelope.
            from = zero.first(place).max(from);
            let before: Vec<usize> = (from..place).collect();
            let among = DMatrix::from_fn(before.len(), before.len(), |i, j| {
                entry(before[i], before[j])
            });
            let with = DVector::from_fn(before.len(), |i, _| entry(before[i], place));
            let weights = among.cholesky()?.solve(&with);
            let variance = entry(place, place) - weights.dot(&with);
            if !(variance.is_finite() && variance > 0.0) {
                return None;
            }
            let row = |at: usize| {
                if at == place {
                    1.0
                } else {
                    -weights[at - from]
                }
            };
            let mean: f64 = (from..=place).map(|at| row(at) * self.mean[node[at]]).sum();
            for (i, slot) in right.iter_mut().enumerate().take(place + 1).skip(from) {
                *slot += row(i) * mean / variance;
                for j in from..=i {
                    precision.add(i, j, row(i) * row(j) / variance);
                }
            }
        }
        Some((precision, right))
    }
}

/// Returns the expected need of every node of a table, ln units, and its standard deviation from vehicle to vehicle;
/// none where the prior is damaged.
pub fn expected_needs(axes: &Axes, prior: &KindPrior) -> Option<(Vec<f64>, Vec<f64>)> {
    let told = Told::new(axes, prior)?;
    let variances = told.covariance.diagonal();
    let sd = variances.iter().map(|variance| variance.max(0.0).sqrt());
    Some((told.mean.as_slice().to_vec(), sd.collect()))
}

/// How a vehicle's own evidence stands to what its kind tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disagreement {
    /// Sum of squares of standardised differences.
    pub chi_square: f64,
    /// Their number: what the evidence tells at least as well as the kind.
    pub freedom: usize,
    /// Chance of a sum as large where the vehicle is of the kind, 0 to 1.
    pub chance: f64,
}

/// Returns how `evidence` about the nodes of `axes` stands to `prior`; none where either is damaged.
///
/// With `GG'` the prior's covariance, m its mean, L and h the evidence, the modes of `G'LG` whose eigenvalue e exceeds
/// one are told by the evidence; `G'(h - L m)` has variance `e (e + 1)` there.
pub fn disagreement(
    axes: &Axes,
    evidence: &NeedEvidence,
    prior: &KindPrior,
) -> Option<Disagreement> {
    let (grid, mean, covariance) = on_grid(prior)?;
    let nodes = axes.node_count();
    let (precision, right) = grid.evidence(&Vehicle {
        axes,
        evidence: evidence.clone(),
        shift: vec![0.0; nodes],
        dwell_s: vec![0.0; nodes],
    });
    let tiny = DMatrix::identity(mean.len(), mean.len()) * 1e-8;
    let root = (covariance + tiny).cholesky()?.l();
    let known = root.tr_mul(&(&precision * &root));
    let away = root.tr_mul(&(right - &precision * &mean));
    let modes = (0.5 * (&known + known.transpose())).symmetric_eigen();
    let (mut chi_square, mut freedom) = (0.0, 0);
    for (value, direction) in modes
        .eigenvalues
        .iter()
        .zip(modes.eigenvectors.column_iter())
    {
        if *value > 1.0 {
            chi_square += direction.dot(&away).powi(2) / (value * (value + 1.0));
            freedom += 1;
        }
    }
    Some(Disagreement {
        chi_square,
        freedom,
        chance: chance_above(chi_square, freedom),
    })
}

/// Returns the chance that a chi-square of `freedom` exceeds `value`, by the cube root of Wilson and Hilferty (1931).
fn chance_above(value: f64, freedom: usize) -> f64 {
    if freedom == 0 {
        return 1.0;
    }
    let freedom = freedom as f64;
    let spread = 2.0 / (9.0 * freedom);
    let root = (value / freedom).cbrt();
    chance_below((1.0 - spread - root) / spread.sqrt())
}

#[cfg(test)]
mod tests;
