//! The whitened readings of one episode, and what they say of the unknowns.

use super::envelope::dot;
use super::episode::{Episode, Episodes, Observation};
use super::noise::{EFFECTS, Effects, Noise, Whitening, small_forward, whiten};
use super::normal::LOCAL_BORDER;

/// Columns that are worked on together.
const LANES: usize = 4;

/// The whitened readings of one episode. Their columns are nodes, border, need; then zeros.
#[derive(Debug, Clone, Default)]
pub(crate) struct Whitened {
    pub(crate) rows: usize,
    /// Columns, those of zeros included.
    stride: usize,
    /// Row by row, `stride` entries each.
    fixed: Vec<f64>,
    /// The random effects column by column, `rows` entries each.
    pub(crate) effects: Vec<f64>,
    pub(crate) whitening: Whitening,
}

/// Returns the number of columns of an episode.
pub(crate) fn column_count(episode: &Episode) -> usize {
    episode.places.len() + LOCAL_BORDER + 1
}

impl Whitened {
    /// Takes the readings of an episode.
    pub(crate) fn fill(&mut self, all: &Episodes, episode: &Episode, noise: &Noise) {
        self.fill_effects(all, episode, noise);
        let places = episode.places.len();
        let stride = column_count(episode).next_multiple_of(LANES);
        self.stride = stride;
        self.fixed.clear();
        self.fixed.resize(stride * self.rows, 0.0);
        let observations = &all.observations[episode.start..episode.end];
        for (row, observation) in self.fixed.chunks_exact_mut(stride).zip(observations) {
            for &(place, share) in &all.footprint[observation.start..observation.end] {
                row[place] = share;
            }
            row[places] = 1.0;
            row[places + 1] = observation.late;
            row[places + 2] = observation.late;
            row[places + 3..places + LOCAL_BORDER].copy_from_slice(&observation.film);
            row[places + LOCAL_BORDER] = observation.need;
        }
        for row in (0..self.rows).rev() {
            let (above, here) = self.fixed.split_at_mut(row * stride);
            let here = &mut here[..stride];
            if row > 0 {
                let memory = self.whitening.memory[row];
                for (slot, before) in here.iter_mut().zip(&above[(row - 1) * stride..]) {
                    *slot -= memory * before;
                }
            }
            for slot in here {
                *slot *= self.whitening.scale[row];
            }
        }
    }

    /// Takes the random effects of an episode only.
    pub(crate) fn fill_effects(&mut self, all: &Episodes, episode: &Episode, noise: &Noise) {
        let observations = &all.observations[episode.start..episode.end];
        let rows = observations.len();
        self.rows = rows;
        self.stride = 0;
        self.fixed.clear();
        effect_columns(observations, &mut self.effects);
        self.whitening
            .prepare(noise, observations.iter().map(Observation::noise));
        for column in self.effects.chunks_exact_mut(rows) {
            whiten(column, &self.whitening.memory, &self.whitening.scale);
        }
    }

    /// Returns the scalar products of a whitened column with every column of the episode, random effects left in.
    pub(crate) fn products(&self, column: &[f64]) -> Vec<f64> {
        let mut products = vec![0.0; self.stride];
        for (row, value) in self.fixed.chunks_exact(self.stride).zip(column) {
            for (slot, entry) in products.iter_mut().zip(row) {
                *slot += value * entry;
            }
        }
        products
    }

    /// Returns L^-1 Z'x of a whitened column x, L the factor of the effects.
    pub(crate) fn through(&self, effects: &Effects, column: &[f64]) -> [f64; EFFECTS] {
        let mut through = [0.0; EFFECTS];
        for (slot, effect) in through.iter_mut().zip(self.effects.chunks_exact(self.rows)) {
            *slot = dot(effect, column);
        }
        small_forward(&effects.factor, &mut through);
        through
    }

    /// Returns L^-1 Z'X of all columns X of the episode, one list per effect.
    pub(crate) fn all_through(&self, effects: &Effects) -> [Vec<f64>; EFFECTS] {
        let mut all = [const { Vec::new() }; EFFECTS];
        for (effect, column) in self.effects.chunks_exact(self.rows).enumerate() {
            let mut products = self.products(column);
            for (before, known) in all.iter().enumerate().take(effect) {
                let weight = effects.factor[effect][before];
                for (slot, entry) in products.iter_mut().zip::<&Vec<f64>>(known) {
                    *slot -= weight * entry;
                }
            }
            for slot in &mut products {
                *slot /= effects.factor[effect][effect];
            }
            all[effect] = products;
        }
        all
    }

    /// Fills `gram` with the lower part of [X y]'S^-1 [X y], row by row of `stride` entries; returns that stride.
    pub(crate) fn gram(&self, effects: &Effects, gram: &mut Vec<f64>) -> usize {
        let stride = self.stride;
        let through = self.all_through(effects);
        gram.clear();
        gram.resize(stride * stride, 0.0);
        for (a, line) in gram.chunks_exact_mut(stride).enumerate() {
            for b in (0..=a).step_by(LANES) {
                let mut sums = [0.0; LANES];
                for row in self.fixed.chunks_exact(stride) {
                    let weight = row[a];
                    for (sum, entry) in sums.iter_mut().zip(&row[b..b + LANES]) {
                        *sum += weight * entry;
                    }
                }
                for known in &through {
                    let weight = known[a];
                    for (sum, entry) in sums.iter_mut().zip(&known[b..b + LANES]) {
                        *sum -= weight * entry;
                    }
                }
                line[b..b + LANES].copy_from_slice(&sums);
            }
        }
        stride
    }
}

/// Fills `effects` with the columns of the random effects, not whitened.
pub(crate) fn effect_columns(observations: &[Observation], effects: &mut Vec<f64>) {
    let rows = observations.len();
    effects.clear();
    effects.resize(EFFECTS * rows, 0.0);
    for (row, observation) in observations.iter().enumerate() {
        effects[row] = 1.0;
        for (term, &film) in observation.film.iter().take(EFFECTS - 1).enumerate() {
            effects[(1 + term) * rows + row] = film;
        }
    }
}
