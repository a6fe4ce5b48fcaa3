//! What makes two readings of one place differ, and how one episode looks through it.
//!
//! Within an episode the readings are y = X b + u 1 + V f + e, with e an AR(1) series, u an offset
//! of the episode and V f what the film model misses. u and f are marginalised in closed form
//! (Woodbury): with W the whitening of e and Z = W [1 V],
//!   S^-1 = W'(I - Z (D^-1 + Z'Z)^-1 Z')W.

use crate::film::FILM_STATES;

/// Random effects of an episode: its offset and one per time constant of the film.
pub(crate) const EFFECTS: usize = 1 + FILM_STATES;

/// A matrix of the random effects.
pub(crate) type Small = [[f64; EFFECTS]; EFFECTS];

/// Sizes of the noise, ln units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Noise {
    /// Standard deviation of one block.
    pub(crate) block: f64,
    /// Correlation of blocks of the usual length that follow each other.
    pub(crate) correlation: f64,
    /// Standard deviation of an episode's offset.
    pub(crate) episode: f64,
    /// Standard deviation of an episode's own film coefficients.
    pub(crate) film: f64,
    /// Standard deviation of a pull's offset.
    pub(crate) pull: f64,
}

impl Default for Noise {
    fn default() -> Self {
        Self {
            block: 0.008,
            correlation: 0.3,
            episode: 0.007,
            film: 0.06,
            pull: 0.005,
        }
    }
}

/// Bounds of [`Noise::block`].
pub(crate) const BLOCK_RANGE: (f64, f64) = (5e-4, 0.10);
/// Bounds of [`Noise::correlation`].
pub(crate) const CORRELATION_RANGE: (f64, f64) = (0.02, 0.95);
/// Bounds of [`Noise::episode`].
pub(crate) const EPISODE_RANGE: (f64, f64) = (2e-3, 0.08);
/// Bounds of [`Noise::film`].
pub(crate) const FILM_RANGE: (f64, f64) = (0.02, 0.4);

/// One column of an episode, whitened in place.
pub(crate) fn whiten(column: &mut [f64], memory: &[f64], scale: &[f64]) {
    for row in (0..column.len()).rev() {
        let before = if row > 0 {
            memory[row] * column[row - 1]
        } else {
            0.0
        };
        column[row] = (column[row] - before) * scale[row];
    }
}

/// What the noise of one row depends on.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RowNoise {
    /// Blocks of the usual length since the row before, when it is in the same episode.
    pub(crate) steps: Option<f64>,
    /// Blocks that were merged into it.
    pub(crate) blocks: f64,
    /// Robust weight.
    pub(crate) weight: f64,
}

/// Returns the variance of the mean of `blocks` blocks of an AR(1) series of variance 1:
/// (1 + 2 sum over k < n of (1 - k/n) r^k) / n, summed in closed form (Bartlett 1946).
pub(crate) fn mean_variance(correlation: f64, blocks: f64) -> f64 {
    if blocks <= 1.0 {
        return 1.0;
    }
    let r = correlation;
    let inflation =
        (1.0 + r) / (1.0 - r) - 2.0 * r * (1.0 - r.powf(blocks)) / (blocks * (1.0 - r) * (1.0 - r));
    inflation / blocks
}

/// The whitening of an episode: `memory` (weight of the row before) and `scale` of each row.
#[derive(Debug, Clone, Default)]
pub(crate) struct Whitening {
    pub(crate) memory: Vec<f64>,
    pub(crate) scale: Vec<f64>,
}

impl Whitening {
    /// Prepares for rows `steps` after each other (none at the start) with robust `weights`.
    pub(crate) fn prepare(&mut self, noise: &Noise, rows: impl Iterator<Item = RowNoise>) {
        self.memory.clear();
        self.scale.clear();
        for row in rows {
            let memory = match row.steps {
                Some(steps) if noise.correlation > 0.0 => noise.correlation.powf(steps),
                _ => 0.0,
            };
            self.memory.push(memory);
            let variance = mean_variance(noise.correlation, row.blocks) * (1.0 - memory * memory);
            self.scale
                .push((row.weight / variance).sqrt() / noise.block);
        }
    }

    /// Returns the sum of the logarithms of the scales: minus half of ln det of the AR covariance.
    pub(crate) fn ln_scale(&self) -> f64 {
        self.scale.iter().map(|scale| scale.ln()).sum()
    }
}

/// Cholesky factor of a small symmetric matrix, in place; row by row, lower part.
#[expect(
    clippy::needless_range_loop,
    reason = "the indices are those of the formula"
)]
pub(crate) fn small_cholesky(matrix: &mut Small) {
    for row in 0..EFFECTS {
        for column in 0..=row {
            let mut value = matrix[row][column];
            for k in 0..column {
                value -= matrix[row][k] * matrix[column][k];
            }
            matrix[row][column] = if row == column {
                value.max(1e-300).sqrt()
            } else {
                value / matrix[column][column]
            };
        }
    }
}

/// Solves L x = b in place.
pub(crate) fn small_forward(factor: &Small, b: &mut [f64; EFFECTS]) {
    for row in 0..EFFECTS {
        for k in 0..row {
            b[row] -= factor[row][k] * b[k];
        }
        b[row] /= factor[row][row];
    }
}

/// Solves L'x = b in place.
pub(crate) fn small_backward(factor: &Small, b: &mut [f64; EFFECTS]) {
    for row in (0..EFFECTS).rev() {
        for k in row + 1..EFFECTS {
            b[row] -= factor[k][row] * b[k];
        }
        b[row] /= factor[row][row];
    }
}

/// The marginalised random effects of one whitened episode.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Effects {
    /// Cholesky factor of D^-1 + Z'Z.
    pub(crate) factor: Small,
    /// ln det(I + D Z'Z).
    pub(crate) ln_determinant: f64,
}

impl Effects {
    /// Prepares for the whitened effect columns `columns`, each of `rows` entries, one after the other.
    pub(crate) fn new(noise: &Noise, episode_weight: f64, columns: &[f64], rows: usize) -> Self {
        let mut gram = [[0.0; EFFECTS]; EFFECTS];
        for a in 0..EFFECTS {
            let left = &columns[a * rows..(a + 1) * rows];
            for b in 0..=a {
                let right = &columns[b * rows..(b + 1) * rows];
                gram[a][b] = super::envelope::dot(left, right);
            }
        }
        Self::of_gram(noise, episode_weight, gram)
    }

    /// Prepares for whitened effect columns with the scalar products `gram`, of which the lower part counts.
    pub(crate) fn of_gram(noise: &Noise, episode_weight: f64, gram: Small) -> Self {
        let mut factor = gram;
        let mut ln_determinant = 0.0;
        for (effect, row) in factor.iter_mut().enumerate() {
            let sd = if effect == 0 {
                noise.episode
            } else {
                noise.film
            };
            let variance = sd * sd / episode_weight;
            row[effect] += 1.0 / variance;
            ln_determinant += variance.ln();
        }
        small_cholesky(&mut factor);
        for (a, row) in factor.iter().enumerate() {
            ln_determinant += 2.0 * row[a].ln();
        }
        Self {
            factor,
            ln_determinant,
        }
    }
}

/// Bounds of [`Noise::unrest`].
const UNREST_RANGE: (f64, f64) = (0.4, 2.5);

/// How far the size of a pull's offset strays, in its logarithm, from what the scatter of readings says of it.
const UNREST_LOG_SD: f64 = 0.25;

/// Standard deviation of the logarithm of an episode's offset, from engine to engine.
const EPISODE_LOG_SD: f64 = 0.25;

/// How far an episode's offset goes with the noise of a block, as a power: a restless sensor is restless in both.
const EPISODE_WITH_BLOCK: f64 = 0.7;

impl Noise {
    /// Returns how restless the readings are against the usual ones, as a factor on what no single pull can show:
    /// a sensor that wavers more within a stay and from stay to stay is taken to be off more from pull to pull.
    ///
    /// That is a guess: of a size whose logarithm is normal, the root mean square is exp(sd^2) times the middle.
    pub(crate) fn unrest(&self) -> f64 {
        let usual = Self::default();
        let ratio = (self.block / usual.block) * (self.episode / usual.episode);
        let (low, high) = UNREST_RANGE;
        (ratio.sqrt() * (UNREST_LOG_SD * UNREST_LOG_SD).exp()).clamp(low, high)
    }

    /// Returns how far the sizes that residuals show are from `other`'s: the largest distance of their logarithms. A
    /// pull's offset is not among them.
    pub(crate) fn away_from(&self, other: &Self) -> f64 {
        let sizes = |noise: &Self| [noise.block, noise.correlation, noise.episode, noise.film];
        let pairs = sizes(self).into_iter().zip(sizes(other));
        pairs.fold(0.0, |away, (one, other)| (one / other).ln().abs().max(away))
    }

    /// Returns what the sizes cost by themselves: twice the negative logarithm of their prior.
    ///
    /// A surface with an offset at each place and a rough surface look alike when places are
    /// visited once; what is usual decides then.
    pub(crate) fn prior_badness(&self) -> f64 {
        let usual = Self::default();
        let expected = usual.episode * (self.block / usual.block).powf(EPISODE_WITH_BLOCK);
        let away = (self.episode / expected).ln() / EPISODE_LOG_SD;
        let film = (self.film / usual.film).ln() / 0.7;
        away * away + film * film
    }
}

#[cfg(test)]
mod tests {
    use super::mean_variance;

    /// The variance of a mean decides how much a long stay tells.
    #[test]
    fn the_variance_of_a_mean_is_the_exact_one() {
        // Effective numbers for n, r of the exact finite-sample formula: computed in exact arithmetic.
        for (n, r, effective) in [
            (20.0, 0.6065, 5.419),
            (50.0, 0.8, 6.098),
            (100.0, 0.9, 5.814),
        ] {
            let found = 1.0 / mean_variance(r, n);
            assert!((found - effective).abs() < 2e-3, "{found} for {effective}");
        }
    }
}
