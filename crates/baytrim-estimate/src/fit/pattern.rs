//! How well a pattern over the readings would explain what the surface cannot.
//!
//! With V the covariance of all readings once surface, offsets and film are marginalised (prior and noise as fitted),
//! a pattern x with coefficient c changes the log likelihood by c x'V^-1 y - c^2 x'V^-1 x / 2. Both products come
//! from the normal equations: V^-1 = S^-1 - S^-1 X H^-1 X'S^-1 with H the posterior precision of all unknowns.

use nalgebra::DVector;

use crate::evidence::PullEvidence;

use super::border_prior;
use super::envelope::dot;
use super::noise::{EFFECTS, Effects, small_forward, whiten};
use super::normal::{Columns, LOCAL_BORDER, border_len, border_of, film_start};
use super::solve::Solved;

/// What the readings say of a pattern.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Score {
    /// x'V^-1 y.
    pub(crate) product: f64,
    /// x'V^-1 x.
    pub(crate) precision: f64,
}

/// Sums of one pattern against the unknowns and the readings.
struct Sums {
    nodes: Vec<f64>,
    border: DVector<f64>,
    need: f64,
    own: f64,
}

impl Solved {
    /// Returns the score of each of `patterns`, which hold one value per observation.
    pub(crate) fn scores(&self, patterns: &[Vec<f64>]) -> Option<Vec<Score>> {
        let pulls = self.ranks.len();
        let nodes = self.order.position.len();
        let mut sums: Vec<Sums> = patterns
            .iter()
            .map(|_| Sums {
                nodes: vec![0.0; nodes],
                border: DVector::zeros(border_len(pulls)),
                need: 0.0,
                own: 0.0,
            })
            .collect();
        let mut columns = Columns::default();
        for episode in &self.episodes.stays {
            let range = episode.start..episode.end;
            let touches = |pattern: &Vec<f64>| pattern[range.clone()].iter().any(|x| *x != 0.0);
            if !patterns.iter().any(touches) {
                continue;
            }
            columns.fill(&self.episodes, episode, &self.noise);
            let rows = columns.rows;
            let effects = Effects::new(&self.noise, episode.weight, &columns.effects, rows);
            let along = |column: &[f64]| {
                let mut along = [0.0; EFFECTS];
                for (slot, effect) in along.iter_mut().zip(columns.effects.chunks_exact(rows)) {
                    *slot = dot(effect, column);
                }
                small_forward(&effects.factor, &mut along);
                along
            };
            let fixed: Vec<[f64; EFFECTS]> = columns.fixed.chunks_exact(rows).map(along).collect();
            for (sum, pattern) in sums.iter_mut().zip(patterns) {
                if !touches(pattern) {
                    continue;
                }
                let mut x = pattern[range.clone()].to_vec();
                whiten(&mut x, &columns.whitening.memory, &columns.whitening.scale);
                let through = along(&x);
                sum.own += dot(&x, &x) - dot(&through, &through);
                let places = episode.places.len();
                for (index, column) in columns.fixed.chunks_exact(rows).enumerate() {
                    let value = dot(column, &x) - dot(&fixed[index], &through);
                    if index < places {
                        sum.nodes[episode.places[index]] += value;
                    } else if index < places + LOCAL_BORDER {
                        sum.border[border_of(episode.pull, pulls, index - places)] += value;
                    } else {
                        sum.need += value;
                    }
                }
            }
        }
        let mut matrix = self.normal.nodes.clone();
        matrix.add_scaled(&self.prior, 1.0);
        let factor = matrix.cholesky()?;
        let solution = &self.solution;
        let score = |sum: Sums| {
            let mut solved = sum.nodes.clone();
            factor.solve(&mut solved);
            let rest = DVector::from_fn(sum.border.len(), |column, _| {
                sum.border[column] - dot(&solution.spread[column], &sum.nodes)
            });
            let explained = dot(&sum.nodes, &solved)
                + (rest.transpose() * &solution.border_covariance * &rest)[0];
            Score {
                product: sum.need
                    - dot(&sum.nodes, &solution.theta)
                    - sum.border.dot(&solution.border),
                precision: (sum.own - explained).max(0.0),
            }
        };
        Some(sums.into_iter().map(score).collect())
    }
}

impl Solved {
    /// Returns the same fit of `pulls` with another size of pull offsets, ln units.
    pub(crate) fn with_pull_sd(&self, pulls: &[&PullEvidence], sd: f64) -> Option<Self> {
        let mut other = self.clone();
        other.noise.pull = sd;
        let sorted: Vec<&PullEvidence> = self.ranks.iter().map(|&rank| pulls[rank]).collect();
        let border = border_prior(&sorted, &other.noise);
        other.solution = self.normal.solve(&self.prior, &border)?;
        Some(other)
    }

    /// Returns `values`, which stand in node order, by position.
    pub(crate) fn by_position(&self, values: &[f64]) -> Vec<f64> {
        let mut all = vec![0.0; values.len()];
        for (&place, &value) in self.order.position.iter().zip(values) {
            all[place] = value;
        }
        all
    }

    /// Returns the mean film coefficients.
    pub(crate) fn film(&self) -> &[f64] {
        &self.solution.border.as_slice()[film_start(self.ranks.len())..]
    }
}
