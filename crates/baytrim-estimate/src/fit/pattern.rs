//! How well a pattern over the readings would explain what the surface cannot.
//!
//! With V the covariance of all readings once surface, offsets and film are marginalised (prior and noise as fitted),
//! a pattern x with coefficient c changes the log likelihood by c x'V^-1 y - c^2 x'V^-1 x / 2. Both products come
//! from the normal equations: V^-1 = S^-1 - S^-1 X H^-1 X'S^-1 with H the posterior precision of all unknowns.

use nalgebra::DVector;

use crate::evidence::PullEvidence;

use super::border_prior;
use super::envelope::dot;
use super::episode::Episode;
use super::noise::{EFFECTS, Effects, whiten};
use super::normal::{LOCAL_BORDER, border_len, border_of, film_start};
use super::solve::Solved;
use super::whitened::Whitened;

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

/// What one episode adds to them.
struct Part {
    /// By column of the episode.
    products: Vec<f64>,
    own: f64,
}

impl Part {
    /// Returns what the readings of a whitened episode add for the `pattern` over them.
    fn new(
        whitened: &Whitened,
        effects: &Effects,
        all_through: &[Vec<f64>; EFFECTS],
        pattern: &[f64],
    ) -> Self {
        let (memory, scale) = (&whitened.whitening.memory, &whitened.whitening.scale);
        let mut x = pattern.to_vec();
        whiten(&mut x, memory, scale);
        let through = whitened.through(effects, &x);
        let mut products = whitened.products(&x);
        for (known, weight) in all_through.iter().zip(through) {
            for (slot, entry) in products.iter_mut().zip(known) {
                *slot -= weight * entry;
            }
        }
        Self {
            products,
            own: dot(&x, &x) - dot(&through, &through),
        }
    }
}

impl Sums {
    fn add(&mut self, episode: &Episode, pulls: usize, part: &Part) {
        let (places, products) = (episode.places.len(), &part.products);
        for (&place, value) in episode.places.iter().zip(products) {
            self.nodes[place] += value;
        }
        for local in 0..LOCAL_BORDER {
            self.border[border_of(episode.pull, pulls, local)] += products[places + local];
        }
        self.need += products[places + LOCAL_BORDER];
        self.own += part.own;
    }
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
        let mut whitened = Whitened::default();
        for episode in &self.episodes.stays {
            let range = episode.start..episode.end;
            let touches = |pattern: &Vec<f64>| pattern[range.clone()].iter().any(|x| *x != 0.0);
            if !patterns.iter().any(touches) {
                continue;
            }
            whitened.fill(&self.episodes, episode, &self.noise);
            let effects = Effects::new(
                &self.noise,
                episode.weight,
                &whitened.effects,
                whitened.rows,
            );
            let all_through = whitened.all_through(&effects);
            // Many patterns differ in where they begin only: within an episode they are the same.
            let mut last: Option<(&[f64], Part)> = None;
            for (sum, pattern) in sums.iter_mut().zip(patterns) {
                if !touches(pattern) {
                    continue;
                }
                let pattern = &pattern[range.clone()];
                if last.as_ref().is_none_or(|(known, _)| *known != pattern) {
                    let part = Part::new(&whitened, &effects, &all_through, pattern);
                    last = Some((pattern, part));
                }
                if let Some((_, part)) = &last {
                    sum.add(episode, pulls, part);
                }
            }
        }
        let matrix = self.normal.nodes.plus([(&self.prior, 1.0)]);
        let factor = matrix.cholesky()?;
        let solution = &self.solution;
        let mut solved: Vec<Vec<f64>> = sums.iter().map(|sum| sum.nodes.clone()).collect();
        factor.solve_all(&mut solved);
        let score = |(sum, solved): (Sums, Vec<f64>)| {
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
        Some(sums.into_iter().zip(solved).map(score).collect())
    }
}

impl Solved {
    /// Returns the same fit of `pulls` with another size of pull offsets, ln units.
    pub(crate) fn with_pull_sd(&self, pulls: &[&PullEvidence], sd: f64) -> Option<Self> {
        let mut other = self.clone();
        other.noise.pull = sd;
        let sorted: Vec<&PullEvidence> = self.ranks.iter().map(|&rank| pulls[rank]).collect();
        let border = border_prior(&sorted, &other.noise);
        other.solution = self
            .normal
            .solve_towards(&self.prior, &self.towards, &border)?;
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
