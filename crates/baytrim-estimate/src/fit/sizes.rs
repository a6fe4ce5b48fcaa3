//! The sizes of the noise that make what a fit leaves over likeliest.
//!
//! They minimise sum of ln det C + tr(C^-1 S) over episodes, S = dd' + P as in [`super::residual`]. With block noise
//! b, C = b^2 W^-1 W'^-1 + V D V', and W depends on the correlation alone: tr(W S W'), V'W'W V and
//! V'W'(W S W')W V are formed once for a correlation, and any other size costs a few numbers an episode.

use super::envelope::dot;
use super::noise::{
    BLOCK_RANGE, CORRELATION_RANGE, EFFECTS, EPISODE_RANGE, Effects, FILM_RANGE, Noise, RowNoise,
    Small, Whitening, small_backward, small_forward, whiten,
};

/// Rounds of the search.
const ROUNDS: usize = 3;
/// Fewest episodes that sizes are learnt from.
const EPISODES_MIN: usize = 5;

/// What one episode leaves over.
#[derive(Debug, Clone)]
pub(super) struct Left {
    pub(super) noise: Vec<RowNoise>,
    /// S, row by row, not whitened.
    pub(super) square: Vec<f64>,
    /// Random-effect columns, not whitened.
    pub(super) effects: Vec<f64>,
    pub(super) weight: f64,
}

/// What the sizes need to know of one episode, for one correlation and block noise of one.
#[derive(Debug, Clone, Copy)]
struct Known {
    rows: f64,
    weight: f64,
    /// Sum of the logarithms of the scales of W.
    ln_scale: f64,
    /// tr(W S W').
    trace: f64,
    /// V'W'W V.
    gram: Small,
    /// V'W'(W S W')W V.
    inner: Small,
}

impl Known {
    fn new(left: &Left, noise: &Noise, room: &mut Room) -> Self {
        let Room {
            whitening,
            square,
            effects,
        } = room;
        let rows = left.noise.len();
        whitening.prepare(noise, left.noise.iter().copied());
        square.clone_from(&left.square);
        effects.clone_from(&left.effects);
        // W S W': rows, then columns.
        for row in square.chunks_exact_mut(rows) {
            whiten(row, &whitening.memory, &whitening.scale);
        }
        for row in (0..rows).rev() {
            let (before, here) = square.split_at_mut(row * rows);
            let here = &mut here[..rows];
            let memory = whitening.memory[row];
            if row > 0 && memory > 0.0 {
                for (slot, value) in here.iter_mut().zip(&before[(row - 1) * rows..]) {
                    *slot -= memory * value;
                }
            }
            for slot in here {
                *slot *= whitening.scale[row];
            }
        }
        for column in effects.chunks_exact_mut(rows) {
            whiten(column, &whitening.memory, &whitening.scale);
        }
        let mut known = Self {
            rows: rows as f64,
            weight: left.weight,
            ln_scale: whitening.ln_scale(),
            trace: (0..rows).map(|row| square[row * rows + row]).sum(),
            gram: [[0.0; EFFECTS]; EFFECTS],
            inner: [[0.0; EFFECTS]; EFFECTS],
        };
        let mut product = vec![0.0; rows];
        for (a, one) in effects.chunks_exact(rows).enumerate() {
            for (slot, row) in product.iter_mut().zip(square.chunks_exact(rows)) {
                *slot = dot(row, one);
            }
            for (b, other) in effects.chunks_exact(rows).enumerate() {
                known.gram[a][b] = dot(one, other);
                known.inner[a][b] = dot(&product, other);
            }
        }
        known
    }

    /// Returns ln det C + tr(C^-1 S).
    fn badness(&self, noise: &Noise) -> f64 {
        let precision = 1.0 / (noise.block * noise.block);
        let gram = self.gram.map(|row| row.map(|entry| entry * precision));
        let marginal = Effects::of_gram(noise, self.weight, gram);
        let mut explained = 0.0;
        for (effect, row) in self.inner.iter().enumerate() {
            let mut column = row.map(|entry| entry * precision * precision);
            small_forward(&marginal.factor, &mut column);
            small_backward(&marginal.factor, &mut column);
            explained += column[effect];
        }
        let ln_scale = self.ln_scale - self.rows * noise.block.ln();
        marginal.ln_determinant - 2.0 * ln_scale + precision * self.trace - explained
    }
}

/// Room that is used again from episode to episode.
#[derive(Debug, Default)]
struct Room {
    whitening: Whitening,
    square: Vec<f64>,
    effects: Vec<f64>,
}

fn known(left: &[Left], noise: &Noise) -> Vec<Known> {
    let one = Noise {
        block: 1.0,
        ..*noise
    };
    let mut room = Room::default();
    left.iter()
        .map(|left| Known::new(left, &one, &mut room))
        .collect()
}

/// Moves the sizes of the noise to where the left-overs of every `stride`th episode are likeliest, one size at a
/// time.
pub(super) fn search(left: &[Left], stride: f64, noise: &mut Noise) {
    if left.len() < EPISODES_MIN {
        return;
    }
    let badness = |known: &[Known], noise: &Noise| {
        let own: f64 = known.iter().map(|one| one.badness(noise)).sum();
        own + noise.prior_badness() / stride
    };
    let mut best_known = known(left, noise);
    let mut best = badness(&best_known, noise);
    let mut step = 0.5;
    for _ in 0..ROUNDS {
        for size in 0..4 {
            for direction in [1.0, -1.0] {
                let mut tried = *noise;
                shift(&mut tried, size, direction * step);
                let other = (size == CORRELATION).then(|| known(left, &tried));
                let value = badness(other.as_ref().unwrap_or(&best_known), &tried);
                if value < best {
                    (best, *noise) = (value, tried);
                    best_known = other.unwrap_or(best_known);
                    break;
                }
            }
        }
        step *= 0.6;
    }
}

/// Number of the correlation among the sizes.
const CORRELATION: usize = 1;

/// Moves one size by `step`: sizes in their logarithm, the correlation in its logit.
fn shift(noise: &mut Noise, size: usize, step: f64) {
    let scaled = |value: f64, (low, high): (f64, f64)| (value * step.exp()).clamp(low, high);
    match size {
        0 => noise.block = scaled(noise.block, BLOCK_RANGE),
        CORRELATION => {
            let odds = noise.correlation / (1.0 - noise.correlation) * (2.0 * step).exp();
            let (low, high) = CORRELATION_RANGE;
            noise.correlation = (odds / (1.0 + odds)).clamp(low, high);
        }
        2 => noise.episode = scaled(noise.episode, EPISODE_RANGE),
        _ => noise.film = scaled(noise.film, FILM_RANGE),
    }
}

#[cfg(test)]
mod tests {
    use super::{Left, Noise, RowNoise, known};
    use crate::fit::noise::EFFECTS;
    use crate::fit::noise::mean_variance;
    use nalgebra::DMatrix;

    /// If this fails, the sizes of the noise are not those that make the left-overs likeliest: the sum is held
    /// against ln det C + tr(C^-1 S) with C written out, at sizes other than those it was prepared for.
    #[test]
    fn the_sum_is_that_of_the_dense_covariance() {
        let steps = [None, Some(1.0), Some(1.0), Some(2.5), Some(0.6)];
        let rows = steps.len();
        let noise: Vec<RowNoise> = steps
            .iter()
            .enumerate()
            .map(|(row, &steps)| RowNoise {
                steps,
                blocks: 1.0 + (row % 3) as f64,
                weight: 1.0 - 0.2 * (row % 2) as f64,
            })
            .collect();
        let film = |term: usize, row: usize| 0.1 * ((row * (term + 2)) % 5) as f64 - 0.15;
        let mut effects = vec![1.0; rows];
        for term in 0..EFFECTS - 1 {
            effects.extend((0..rows).map(|row| film(term, row)));
        }
        let residual = [0.01, -0.004, 0.02, 0.003, -0.01];
        let square = DMatrix::from_fn(rows, rows, |a, b| {
            residual[a] * residual[b] + if a == b { 4e-5 } else { 1e-5 }
        });
        let left = Left {
            noise: noise.clone(),
            square: square.as_slice().to_vec(),
            effects: effects.clone(),
            weight: 0.7,
        };
        let sizes = Noise {
            block: 0.011,
            correlation: 0.45,
            episode: 0.006,
            film: 0.09,
            pull: 0.005,
        };
        // Correlation of two rows: the product of the memories between them; the weight divides a row's own
        // innovation, so C is built from W directly.
        let mut white = DMatrix::zeros(rows, rows);
        for (row, one) in noise.iter().enumerate() {
            let memory = one.steps.map_or(0.0, |steps| sizes.correlation.powf(steps));
            let variance = mean_variance(sizes.correlation, one.blocks) * (1.0 - memory * memory);
            let scale = (one.weight / variance).sqrt() / sizes.block;
            white[(row, row)] = scale;
            if row > 0 {
                white[(row, row - 1)] = -memory * scale;
            }
        }
        let back = white.try_inverse().expect("a triangle");
        let mut covariance = &back * back.transpose();
        for (effect, column) in effects.chunks_exact(rows).enumerate() {
            let sd = if effect == 0 {
                sizes.episode
            } else {
                sizes.film
            };
            let column = nalgebra::DVector::from_column_slice(column);
            covariance += sd * sd / 0.7 * &column * column.transpose();
        }
        let wanted = covariance.determinant().ln()
            + (covariance.try_inverse().expect("positive definite") * square).trace();
        let found = known(&[left], &sizes)[0].badness(&sizes);
        assert!(
            (found - wanted).abs() < 1e-8 * wanted.abs(),
            "{found} {wanted}"
        );
    }
}
