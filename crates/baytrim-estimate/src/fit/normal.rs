//! The normal equations: evidence of all episodes, summed.
//!
//! Unknowns are theta at every node and a small border: one offset and one delay error per pull, a delay error of all, one mean
//! coefficient per film regressor. With A the nodes' block, C the border columns and D the border's block,
//!   [A C; C' D] [theta; b] = [a; d].

use nalgebra::{DMatrix, DVector};

use crate::film::FILM_TERMS;

use super::envelope::{Envelope, Factor, dot};
use super::episode::{Episode, Episodes};
use super::noise::{Effects, Noise};
use super::whitened::{Whitened, column_count};

/// Columns of the border that an episode touches: offset and delay error of its pull, the delay error that
/// all pulls share, film coefficients.
pub(crate) const LOCAL_BORDER: usize = 3 + FILM_TERMS;

/// Returns the border column of an episode's local one.
pub(crate) fn border_of(pull: usize, pulls: usize, local: usize) -> usize {
    match local {
        0 => pull,
        1 => pulls + pull,
        _ => 2 * pulls + local - 2,
    }
}

/// Returns the first border column of the film coefficients.
pub(crate) fn film_start(pulls: usize) -> usize {
    2 * pulls + 1
}

/// Returns the number of border columns.
pub(crate) fn border_len(pulls: usize) -> usize {
    film_start(pulls) + FILM_TERMS
}

/// Summed evidence, prior not included.
#[derive(Debug, Clone)]
pub(crate) struct Normal {
    pub(crate) nodes: Envelope,
    /// Border columns over nodes, column by column.
    pub(crate) cross: Vec<Vec<f64>>,
    pub(crate) border: DMatrix<f64>,
    pub(crate) right: Vec<f64>,
    pub(crate) border_right: DVector<f64>,
    /// y'S^-1 y.
    pub(crate) square: f64,
    /// ln det S of all episodes.
    pub(crate) ln_determinant: f64,
}

impl Normal {
    /// Sums the evidence of all episodes.
    pub(crate) fn sum(all: &Episodes, pulls: usize, noise: &Noise, zero: &Envelope) -> Self {
        Self::sum_of(all, pulls, noise, zero, None)
    }

    /// Sums the evidence of each pull.
    pub(crate) fn of_each(
        all: &Episodes,
        pulls: usize,
        noise: &Noise,
        zero: &Envelope,
    ) -> Vec<Self> {
        let of = |pull: usize| Self::sum_of(all, pulls, noise, zero, Some(pull));
        (0..pulls).map(of).collect()
    }

    /// Sums the evidence of one pull's episodes, or of all.
    pub(crate) fn sum_of(
        all: &Episodes,
        pulls: usize,
        noise: &Noise,
        zero: &Envelope,
        one: Option<usize>,
    ) -> Self {
        let nodes = zero.len();
        let border = border_len(pulls);
        let mut normal = Self {
            nodes: zero.clone(),
            cross: vec![vec![0.0; nodes]; border],
            border: DMatrix::zeros(border, border),
            right: vec![0.0; nodes],
            border_right: DVector::zeros(border),
            square: 0.0,
            ln_determinant: 0.0,
        };
        let mut whitened = Whitened::default();
        let mut gram = Vec::new();
        for episode in &all.stays {
            if one.is_some_and(|pull| pull != episode.pull) {
                continue;
            }
            whitened.fill(all, episode, noise);
            let effects = Effects::new(noise, episode.weight, &whitened.effects, whitened.rows);
            normal.ln_determinant += effects.ln_determinant - 2.0 * whitened.whitening.ln_scale();
            let stride = whitened.gram(&effects, &mut gram);
            normal.scatter(episode, pulls, &gram, stride);
        }
        normal
    }

    /// Returns the sum of `parts`; none without any.
    pub(crate) fn total(parts: &[Self]) -> Option<Self> {
        let (first, rest) = parts.split_first()?;
        let mut total = first.clone();
        for part in rest {
            total.add_scaled(part, 1.0);
        }
        Some(total)
    }

    /// Returns the sum without `part` of it.
    pub(crate) fn without(&self, part: &Self) -> Self {
        let mut rest = self.clone();
        rest.add_scaled(part, -1.0);
        rest
    }

    /// Adds `factor` times `part`.
    pub(crate) fn add_scaled(&mut self, part: &Self, factor: f64) {
        self.nodes.add_scaled(&part.nodes, factor);
        let add = |left: &mut Vec<f64>, right: &[f64]| {
            for (slot, value) in left.iter_mut().zip(right) {
                *slot += factor * value;
            }
        };
        for (left, right) in self.cross.iter_mut().zip(&part.cross) {
            add(left, right);
        }
        add(&mut self.right, &part.right);
        self.border += factor * &part.border;
        self.border_right += factor * &part.border_right;
        self.square += factor * part.square;
        self.ln_determinant += factor * part.ln_determinant;
    }

    fn scatter(&mut self, episode: &Episode, pulls: usize, gram: &[f64], stride: usize) {
        let places = &episode.places;
        let count = column_count(episode);
        let border_of = |local: usize| border_of(episode.pull, pulls, local);
        for (a, &place) in places.iter().enumerate() {
            let row = &gram[a * stride..(a + 1) * stride];
            self.nodes.add_row(place, &places[..=a], row);
        }
        for local in 0..LOCAL_BORDER {
            let a = places.len() + local;
            let row = &gram[a * stride..(a + 1) * stride];
            for (b, &place) in places.iter().enumerate() {
                self.cross[border_of(local)][place] += row[b];
            }
            for other in 0..=local {
                let value = row[places.len() + other];
                let (i, j) = (border_of(local), border_of(other));
                self.border[(i, j)] += value;
                if i != j {
                    self.border[(j, i)] += value;
                }
            }
        }
        let last = &gram[(count - 1) * stride..];
        for (b, &place) in places.iter().enumerate() {
            self.right[place] += last[b];
        }
        for local in 0..LOCAL_BORDER {
            self.border_right[border_of(local)] += last[places.len() + local];
        }
        self.square += last[count - 1];
    }
}

/// The solution with what is needed for its uncertainty.
#[derive(Debug, Clone)]
pub(crate) struct Solution {
    pub(crate) theta: Vec<f64>,
    pub(crate) border: DVector<f64>,
    /// Inverse of the nodes' block alone, inside the envelope.
    pub(crate) inverse: Envelope,
    /// A^-1 C, column by column.
    pub(crate) spread: Vec<Vec<f64>>,
    /// Covariance of the border.
    pub(crate) border_covariance: DMatrix<f64>,
}

impl Normal {
    /// Returns twice the negative logarithm of the marginal likelihood, save for a constant;
    /// none when the equations cannot be solved.
    pub(crate) fn badness(
        &self,
        prior: &Envelope,
        prior_ln_determinant: f64,
        border_prior: &[(f64, f64)],
    ) -> Option<f64> {
        let factor = self.nodes.plus([(prior, 1.0)]).cholesky()?;
        let mut border = self.border.clone();
        let mut border_right = self.border_right.clone();
        let mut square = self.square;
        let mut half_solved = self.cross.clone();
        for (column, &(mean, precision)) in border_prior.iter().enumerate() {
            border[(column, column)] += precision;
            border_right[column] += precision * mean;
            square += precision * mean * mean;
        }
        factor.forward_all(&mut half_solved);
        let mut first = self.right.clone();
        factor.forward(&mut first);
        for i in 0..half_solved.len() {
            for j in 0..=i {
                let value = dot(&half_solved[i], &half_solved[j]);
                border[(i, j)] -= value;
                if i != j {
                    border[(j, i)] -= value;
                }
            }
            border_right[i] -= dot(&half_solved[i], &first);
        }
        let schur = border.cholesky()?;
        let ln_border: f64 = schur
            .l_dirty()
            .diagonal()
            .iter()
            .map(|value| 2.0 * value.ln())
            .sum();
        let explained = dot(&first, &first) + border_right.dot(&schur.solve(&border_right));
        let ln_posterior = factor.ln_determinant() + ln_border;
        Some(square - explained + self.ln_determinant + ln_posterior - prior_ln_determinant)
    }

    /// Solves with the prior's precision of the nodes and (mean, precision) of each border column.
    pub(crate) fn solve(&self, prior: &Envelope, border_prior: &[(f64, f64)]) -> Option<Solution> {
        self.solve_towards(prior, &[], border_prior)
    }

    /// Solves with a prior of the nodes whose precision times mean is `towards`; empty: its mean is 0.
    pub(crate) fn solve_towards(
        &self,
        prior: &Envelope,
        towards: &[f64],
        border_prior: &[(f64, f64)],
    ) -> Option<Solution> {
        let factor: Factor = self.nodes.plus([(prior, 1.0)]).cholesky()?;
        let mut border = self.border.clone();
        let mut border_right = self.border_right.clone();
        for (column, &(mean, precision)) in border_prior.iter().enumerate() {
            border[(column, column)] += precision;
            border_right[column] += precision * mean;
        }
        let mut first = self.right.clone();
        for (slot, value) in first.iter_mut().zip(towards) {
            *slot += value;
        }
        factor.solve(&mut first);
        let mut spread = self.cross.clone();
        factor.solve_all(&mut spread);
        for i in 0..spread.len() {
            for j in 0..=i {
                let value = dot(&self.cross[i], &spread[j]);
                border[(i, j)] -= value;
                if i != j {
                    border[(j, i)] -= value;
                }
            }
            border_right[i] -= dot(&self.cross[i], &first);
        }
        let schur = border.cholesky()?;
        let b = schur.solve(&border_right);
        let mut theta = first;
        for (column, value) in spread.iter().zip(b.iter()) {
            for (slot, entry) in theta.iter_mut().zip(column) {
                *slot -= entry * value;
            }
        }
        Some(Solution {
            theta,
            border: b,
            inverse: factor.selected_inverse(),
            spread,
            border_covariance: schur.inverse(),
        })
    }
}

impl Solution {
    /// Returns the posterior variance of each position.
    pub(crate) fn variances(&self) -> Vec<f64> {
        let columns = self.spread.len();
        (0..self.theta.len())
            .map(|place| {
                let u = DVector::from_fn(columns, |column, _| self.spread[column][place]);
                self.inverse.get(place, place) + (u.transpose() * &self.border_covariance * &u)[0]
            })
            .collect()
    }
}
