//! What one vehicle's pulls say of its needs, without any prior of the surface.

use baytrim_model::axis::Axes;
use nalgebra::{DMatrix, DVector};

use crate::evidence::PullEvidence;
use crate::posterior::Posterior;

/// What pulls say of the needs of all nodes: a precision and what it is weighed with, in node order.
#[derive(Debug, Clone, PartialEq)]
pub struct NeedEvidence {
    pub(super) precision: DMatrix<f64>,
    pub(super) right: DVector<f64>,
}

/// A vehicle that tells of its kind.
#[derive(Debug, Clone)]
pub struct Vehicle<'a> {
    /// Its axes.
    pub axes: &'a Axes,
    /// What its pulls say of the need against its base table.
    pub evidence: NeedEvidence,
    /// What is to be added to its need at each of its nodes to have it against the next vehicle's base table, ln units.
    pub shift: Vec<f64>,
    /// Seconds of accepted footprint weight at each of its nodes.
    pub dwell_s: Vec<f64>,
}

impl Posterior {
    /// Returns what `pulls`, which are those that were fitted, say without the prior of the surface; none where the
    /// equations cannot be solved. Widened as standard errors are.
    pub fn need_evidence(&self, pulls: &[&PullEvidence]) -> Option<NeedEvidence> {
        let solved = self.solved();
        let normal = &solved.normal;
        let position = &solved.order.position;
        let nodes = position.len();
        let mut border = normal.border.clone();
        let mut border_right = normal.border_right.clone();
        for (column, (mean, precision)) in solved.border_prior(pulls).into_iter().enumerate() {
            border[(column, column)] += precision;
            border_right[column] += precision * mean;
        }
        let border = border.cholesky()?;
        let cross = DMatrix::from_fn(normal.cross.len(), nodes, |column, node| {
            normal.cross[column][position[node]]
        });
        let half = border.l().solve_lower_triangular(&cross)?;
        let mut precision = DMatrix::from_fn(nodes, nodes, |i, j| {
            normal.nodes.get(position[i], position[j])
        });
        precision -= half.tr_mul(&half);
        let right = DVector::from_fn(nodes, |node, _| normal.right[position[node]]);
        let right = right - cross.tr_mul(&border.solve(&border_right));
        let sure = 1.0 / (solved.factor * solved.factor);
        Some(NeedEvidence {
            precision: precision * sure,
            right: right * sure,
        })
    }
}
