//! What stands behind the answer at one node: what each pull alone says, what the answer would be without it, and
//! where its variance comes from.
//!
//! With H the posterior precision of all unknowns, N the evidence's part of it and P the prior's, the error of the
//! estimate is H^-1 (R'S^-1 e - P d) for noise e and a draw d of the prior, and its covariance H^-1 = H^-1 (N + P) H^-1.
//! With h the node's row of H^-1, its variance is thus h'N h (readings) plus h'P h, and P is block diagonal:
//! the surface's part is what was borrowed, each border column has its own.

use crate::evidence::PullEvidence;

use super::border_prior;
use super::normal::{Normal, Solution, film_start};
use super::solve::Solved;

/// Two solutions about one pull, the sizes of noise and prior held.
#[derive(Debug, Clone)]
pub(crate) struct LeftOut {
    /// From this pull alone.
    pub(crate) alone: Solution,
    /// From all others.
    pub(crate) without: Solution,
}

/// Variance of one node by source, ln units squared, calibrated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Variances {
    /// Fast noise and what makes visits of one place differ.
    pub(crate) readings: f64,
    /// What neighbours and the usual size of a correction lend.
    pub(crate) borrowed: f64,
    /// Offsets of pulls.
    pub(crate) pulls: f64,
    /// Errors of the delay that are each pull's own.
    pub(crate) own_delay: f64,
    /// The error of the delay that all pulls share.
    pub(crate) shared_delay: f64,
    /// Wall film.
    pub(crate) film: f64,
}

impl Solved {
    /// Returns the solutions about each of `pulls`, which are those that were fitted, in the caller's order; none
    /// for a pull where they cannot be had.
    pub(crate) fn left_out(&self, pulls: &[&PullEvidence]) -> Vec<Option<LeftOut>> {
        let sorted: Vec<&PullEvidence> = self.ranks.iter().map(|&rank| pulls[rank]).collect();
        let border = border_prior(&sorted, &self.noise);
        let mut zero = self.prior.clone();
        zero.add_scaled(&self.prior, -1.0);
        let mut all = vec![None; pulls.len()];
        for (place, &rank) in self.ranks.iter().enumerate() {
            let mut own = self.episodes.clone();
            own.stays.retain(|stay| stay.pull == place);
            let own = Normal::sum(&own, pulls.len(), &self.noise, &zero);
            let alone = own.solve_towards(&self.prior, &self.towards, &border);
            let without =
                self.normal
                    .without(&own)
                    .solve_towards(&self.prior, &self.towards, &border);
            all[rank] = alone
                .zip(without)
                .map(|(alone, without)| LeftOut { alone, without });
        }
        all
    }

    /// Returns where the variance at `node` comes from; none where the equations cannot be solved.
    pub(crate) fn variances_at(&self, pulls: &[&PullEvidence], node: usize) -> Option<Variances> {
        let sorted: Vec<&PullEvidence> = self.ranks.iter().map(|&rank| pulls[rank]).collect();
        let border = border_prior(&sorted, &self.noise);
        let place = self.order.position[node];
        let matrix = self.normal.nodes.plus([(&self.prior, 1.0)]);
        let factor = matrix.cholesky()?;
        let mut row = vec![0.0; self.order.position.len()];
        row[place] = 1.0;
        factor.solve(&mut row);
        let solution = &self.solution;
        let columns = solution.spread.len();
        let through =
            nalgebra::DVector::from_fn(columns, |column, _| solution.spread[column][place]);
        let through = &solution.border_covariance * through;
        for (column, amount) in solution.spread.iter().zip(through.iter()) {
            for (slot, entry) in row.iter_mut().zip(column) {
                *slot += amount * entry;
            }
        }
        let part = |range: std::ops::Range<usize>| -> f64 {
            range
                .map(|column| through[column] * through[column] * border[column].1)
                .sum()
        };
        let (count, film) = (pulls.len(), film_start(pulls.len()));
        let borrowed = quadratic(&self.prior, &row);
        let parts = [
            part(0..count),
            part(count..2 * count),
            part(2 * count..film),
            part(film..columns),
        ];
        let readings = (row[place] - borrowed - parts.iter().sum::<f64>()).max(0.0);
        let widened = self.factor * self.factor;
        let [pulls, own_delay, shared_delay, film] = parts.map(|part| part * widened);
        Some(Variances {
            readings: readings * widened,
            borrowed: borrowed * widened,
            pulls,
            own_delay,
            shared_delay,
            film,
        })
    }

    /// Returns how far the fit distrusts what each of `count` pulls says of `node`: 0 for readings that fit, 1 for
    /// readings that were set aside as outliers; none where a pull says nothing of it. In the caller's order.
    pub(crate) fn distrust(&self, node: usize, count: usize) -> Vec<Option<f64>> {
        let place = self.order.position[node];
        let mut sums = vec![(0.0, 0.0); count];
        for stay in &self.episodes.stays {
            let Ok(local) = stay.places.binary_search(&place) else {
                continue;
            };
            let sum = &mut sums[self.ranks[stay.pull]];
            for observation in &self.episodes.observations[stay.start..stay.end] {
                let entries = &self.episodes.footprint[observation.start..observation.end];
                let share = entries.iter().find(|(entry, _)| *entry == local);
                let share = share.map_or(0.0, |(_, share)| share.max(0.0)) * observation.blocks;
                sum.0 += share;
                sum.1 += share * (1.0 - observation.weight * stay.weight);
            }
        }
        let mean = |(total, doubted): (f64, f64)| (total > 0.0).then(|| doubted / total);
        sums.into_iter().map(mean).collect()
    }
}

fn quadratic(matrix: &super::envelope::Envelope, vector: &[f64]) -> f64 {
    let mut sum = 0.0;
    for i in 0..vector.len() {
        for j in 0..i {
            sum += 2.0 * vector[i] * vector[j] * matrix.get(i, j);
        }
        sum += vector[i] * vector[i] * matrix.get(i, i);
    }
    sum
}
