//! The normal equations: evidence of all episodes, summed.
//!
//! Unknowns are theta at every node and a small border: one offset and one delay error per pull, a delay error of all, one mean
//! coefficient per film regressor. With A the nodes' block, C the border columns and D the border's block,
//!   [A C; C' D] [theta; b] = [a; d].

use nalgebra::{DMatrix, DVector};

use crate::film::FILM_TERMS;

use super::envelope::{Envelope, Factor, dot};
use super::episode::{Episode, Episodes, Observation};
use super::noise::{EFFECTS, Effects, Noise, Whitening, small_forward, whiten};

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

/// The whitened columns of one episode: nodes, border, need; then the random effects.
#[derive(Debug, Clone, Default)]
pub(crate) struct Columns {
    pub(crate) rows: usize,
    /// Column by column, `rows` entries each.
    pub(crate) fixed: Vec<f64>,
    pub(crate) effects: Vec<f64>,
    pub(crate) whitening: Whitening,
}

impl Columns {
    pub(crate) fn count(episode: &Episode) -> usize {
        episode.places.len() + LOCAL_BORDER + 1
    }

    /// Fills the columns of an episode.
    pub(crate) fn fill(&mut self, all: &Episodes, episode: &Episode, noise: &Noise) {
        let observations = &all.observations[episode.start..episode.end];
        let rows = observations.len();
        let places = episode.places.len();
        let count = Self::count(episode);
        self.rows = rows;
        self.fixed.clear();
        self.fixed.resize(count * rows, 0.0);
        self.effects.clear();
        self.effects.resize(EFFECTS * rows, 0.0);
        for (row, observation) in observations.iter().enumerate() {
            for &(place, share) in &all.footprint[observation.start..observation.end] {
                self.fixed[place * rows + row] = share;
            }
            self.fixed[places * rows + row] = 1.0;
            self.fixed[(places + 1) * rows + row] = observation.late;
            self.fixed[(places + 2) * rows + row] = observation.late;
            self.effects[row] = 1.0;
            for (term, &film) in observation.film.iter().enumerate() {
                self.fixed[(places + 3 + term) * rows + row] = film;
                if 1 + term < EFFECTS {
                    self.effects[(1 + term) * rows + row] = film;
                }
            }
            self.fixed[(places + LOCAL_BORDER) * rows + row] = observation.need;
        }
        self.whitening
            .prepare(noise, observations.iter().map(Observation::noise));
        let whitening = &self.whitening;
        for column in self
            .fixed
            .chunks_exact_mut(rows)
            .chain(self.effects.chunks_exact_mut(rows))
        {
            whiten(column, &whitening.memory, &whitening.scale);
        }
    }
}

impl Columns {
    /// Fills the random effects of an episode only.
    pub(crate) fn fill_effects(&mut self, all: &Episodes, episode: &Episode, noise: &Noise) {
        let observations = &all.observations[episode.start..episode.end];
        let rows = observations.len();
        self.rows = rows;
        self.fixed.clear();
        self.effects.clear();
        self.effects.resize(EFFECTS * rows, 0.0);
        for (row, observation) in observations.iter().enumerate() {
            self.effects[row] = 1.0;
            for (term, &film) in observation.film.iter().take(EFFECTS - 1).enumerate() {
                self.effects[(1 + term) * rows + row] = film;
            }
        }
        self.whitening
            .prepare(noise, observations.iter().map(Observation::noise));
        for column in self.effects.chunks_exact_mut(rows) {
            whiten(column, &self.whitening.memory, &self.whitening.scale);
        }
    }
}

impl Normal {
    /// Sums the evidence of all episodes.
    pub(crate) fn sum(all: &Episodes, pulls: usize, noise: &Noise, zero: &Envelope) -> Self {
        Self::sum_of(all, pulls, noise, zero, None)
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
        let mut columns = Columns::default();
        let mut gram = Vec::new();
        for episode in &all.stays {
            if one.is_some_and(|pull| pull != episode.pull) {
                continue;
            }
            columns.fill(all, episode, noise);
            let effects = Effects::new(noise, episode.weight, &columns.effects, columns.rows);
            normal.ln_determinant += effects.ln_determinant - 2.0 * columns.whitening.ln_scale();
            local_gram(&columns, &effects, &mut gram);
            normal.scatter(episode, pulls, &gram);
        }
        normal
    }

    /// Returns the sum without `part` of it.
    pub(crate) fn without(&self, part: &Self) -> Self {
        let mut rest = self.clone();
        rest.nodes.add_scaled(&part.nodes, -1.0);
        let less = |left: &mut Vec<f64>, right: &[f64]| {
            for (slot, value) in left.iter_mut().zip(right) {
                *slot -= value;
            }
        };
        for (left, right) in rest.cross.iter_mut().zip(&part.cross) {
            less(left, right);
        }
        less(&mut rest.right, &part.right);
        rest.border -= &part.border;
        rest.border_right -= &part.border_right;
        rest.square -= part.square;
        rest.ln_determinant -= part.ln_determinant;
        rest
    }

    fn scatter(&mut self, episode: &Episode, pulls: usize, gram: &[f64]) {
        let places = &episode.places;
        let count = Columns::count(episode);
        let border_of = |local: usize| border_of(episode.pull, pulls, local);
        for (a, &place) in places.iter().enumerate() {
            let row = &gram[a * count..(a + 1) * count];
            for (b, &other) in places.iter().enumerate().take(a + 1) {
                self.nodes.add(place, other, row[b]);
            }
        }
        for local in 0..LOCAL_BORDER {
            let a = places.len() + local;
            let row = &gram[a * count..(a + 1) * count];
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
        let last = &gram[(count - 1) * count..];
        for (b, &place) in places.iter().enumerate() {
            self.right[place] += last[b];
        }
        for local in 0..LOCAL_BORDER {
            self.border_right[border_of(local)] += last[places.len() + local];
        }
        self.square += last[count - 1];
    }
}

/// Fills `gram` with the lower part of [X y]'S^-1 [X y].
fn local_gram(columns: &Columns, effects: &Effects, gram: &mut Vec<f64>) {
    let rows = columns.rows;
    let count = columns.fixed.len() / rows;
    gram.clear();
    gram.resize(count * count, 0.0);
    let mut projected: Vec<[f64; EFFECTS]> = Vec::with_capacity(count);
    for column in columns.fixed.chunks_exact(rows) {
        let mut along = [0.0; EFFECTS];
        for (slot, effect) in along.iter_mut().zip(columns.effects.chunks_exact(rows)) {
            *slot = dot(effect, column);
        }
        small_forward(&effects.factor, &mut along);
        projected.push(along);
    }
    for a in 0..count {
        let left = &columns.fixed[a * rows..(a + 1) * rows];
        for b in 0..=a {
            let right = &columns.fixed[b * rows..(b + 1) * rows];
            let through: f64 = projected[a]
                .iter()
                .zip(&projected[b])
                .map(|(x, y)| x * y)
                .sum();
            let value = dot(left, right) - through;
            gram[a * count + b] = value;
        }
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
        let mut matrix = self.nodes.clone();
        matrix.add_scaled(prior, 1.0);
        let factor = matrix.cholesky()?;
        let mut border = self.border.clone();
        let mut border_right = self.border_right.clone();
        let mut square = self.square;
        let mut half_solved = self.cross.clone();
        for (column, &(mean, precision)) in border_prior.iter().enumerate() {
            border[(column, column)] += precision;
            border_right[column] += precision * mean;
            square += precision * mean * mean;
            factor.forward(&mut half_solved[column]);
        }
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
        let mut matrix = self.nodes.clone();
        matrix.add_scaled(prior, 1.0);
        let factor: Factor = matrix.cholesky()?;
        let mut border = self.border.clone();
        let mut border_right = self.border_right.clone();
        for (column, &(mean, precision)) in border_prior.iter().enumerate() {
            border[(column, column)] += precision;
            border_right[column] += precision * mean;
        }
        let mut first = self.right.clone();
        factor.solve(&mut first);
        let mut spread = self.cross.clone();
        for column in &mut spread {
            factor.solve(column);
        }
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
