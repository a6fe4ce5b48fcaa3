//! Holds every episode against the fit that would have been made without it, and every pull against the fit
//! of the others.
//!
//! With m the generalised mean of an episode's residuals, V its variance by the noise model and h what
//! the uncertainty of the surface makes of it, the residual against the fit without the episode,
//! over its own standard deviation, is m / sqrt(V - h): no refit is needed (the leave-one-out identity of
//! linear smoothers). A pull left out is a refit: errors that a whole pull shares show there only. When the mean
//! square of either exceeds one, standard errors are widened by the larger root.

use super::envelope::dot;
use super::episode::{Episode, Episodes};
use super::noise::{EFFECTS, Effects, Noise, small_backward, small_forward, whiten};
use super::normal::Solution;
use super::residual::{residual, uncertainty};
use super::whitened::Whitened;

/// Largest standardised square that counts in full: one bad episode must not widen all.
const SQUARE_MAX: f64 = 9.0;
/// Mean of a squared standard normal that is cut at [`SQUARE_MAX`].
const CUT_MEAN: f64 = 0.9805;
/// An episode that the fit rests on by more than this share tells nothing of the fit.
const RELIANCE_MAX: f64 = 0.8;
/// Fewest episodes for a verdict.
const EPISODES_MIN: usize = 10;
/// Most episodes that are looked at.
const EPISODES_MAX: usize = 400;
/// Largest factor: beyond it something else is wrong, and the reviewer is told.
const FACTOR_MAX: f64 = 2.5;

/// Returns the factor, at least 1, by which standard errors are to be widened.
pub(crate) fn factor(all: &Episodes, solution: &Solution, pulls: usize, noise: &Noise) -> f64 {
    let stride = all.stays.len().div_ceil(EPISODES_MAX).max(1);
    let mut whitened = Whitened::default();
    let mut squares = Vec::new();
    for episode in all.stays.iter().step_by(stride) {
        let (mean, precision, uncertainty) =
            held(all, episode, solution, pulls, noise, &mut whitened);
        let reliance = uncertainty * precision;
        if reliance < RELIANCE_MAX {
            let square = mean * mean * precision / (1.0 - reliance);
            squares.push(square.min(SQUARE_MAX));
        }
    }
    verdict(&squares)
}

/// Share of all film movement in one direction from which it counts as one way.
const ONE_WAY_SHARE: f64 = 0.9;
/// Mean film movement, as a share of the flow, below which pulls are as good as settled.
const MOVES_MIN: f64 = 0.02;
/// How much wider errors are where everything moves one way. Simulated engines with up-only sweeps, seeds 301 to 360:
/// 89 to 94 % of truths were inside intervals that claim 95.
const ONE_WAY_FACTOR: f64 = 1.15;

/// Returns the factor, at least 1, for evidence in which the flow of fuel only ever rises, or only ever falls: film,
/// lead and delay look like a need there, and their models err alike in every pull, so that no pull left out shows it.
pub(crate) fn one_way_factor(all: &Episodes) -> f64 {
    let (mut up, mut down, mut blocks) = (0.0, 0.0, 0.0);
    for observation in &all.observations {
        let moved = observation.film[0] * observation.blocks;
        up += moved.max(0.0);
        down += (-moved).max(0.0);
        blocks += observation.blocks;
    }
    let moves = up + down;
    if moves > MOVES_MIN * blocks && up.max(down) > ONE_WAY_SHARE * moves {
        ONE_WAY_FACTOR
    } else {
        1.0
    }
}

/// Largest standard deviation of a prediction that a pull left out is held against, ln units: beyond it, the
/// prediction is the prior's.
const PREDICTED_SD_MAX: f64 = 0.03;

/// Most episodes of all pulls that are held against the fit of the other pulls.
const LEFT_OUT_MAX: usize = 200;

/// Returns the factor, at least 1, that pulls ask for when each is held against the fit of the others.
///
/// `others` returns the solution without a pull, whose own border columns are at their prior then.
pub(crate) fn pull_factor(
    all: &Episodes,
    pulls: usize,
    noise: &Noise,
    others: impl Fn(usize) -> Option<Solution>,
) -> f64 {
    let stride = all.stays.len().div_ceil(LEFT_OUT_MAX).max(1);
    let mut whitened = Whitened::default();
    let mut squares = Vec::new();
    for pull in 0..pulls {
        let Some(solution) = others(pull) else {
            continue;
        };
        let stays = all.stays.iter().step_by(stride);
        for episode in stays.filter(|stay| stay.pull == pull) {
            let (mean, precision, uncertainty) =
                held(all, episode, &solution, pulls, noise, &mut whitened);
            if uncertainty < PREDICTED_SD_MAX * PREDICTED_SD_MAX {
                let square = mean * mean / (1.0 / precision + uncertainty);
                squares.push(square.min(SQUARE_MAX));
            }
        }
    }
    verdict(&squares)
}

/// Returns the generalised mean of an episode's residuals, its precision by the noise, and the variance that
/// the uncertainty of the solution gives it.
fn held(
    all: &Episodes,
    episode: &Episode,
    solution: &Solution,
    pulls: usize,
    noise: &Noise,
    whitened: &mut Whitened,
) -> (f64, f64, f64) {
    whitened.fill_effects(all, episode, noise);
    let rows = whitened.rows;
    let effects = Effects::new(noise, 1.0, &whitened.effects, rows);
    let ones = &whitened.effects[..rows];
    let mut along = [0.0; EFFECTS];
    for (slot, effect) in along.iter_mut().zip(whitened.effects.chunks_exact(rows)) {
        *slot = dot(effect, ones);
    }
    small_forward(&effects.factor, &mut along);
    small_backward(&effects.factor, &mut along);
    let mut direction = ones.to_vec();
    for (amount, effect) in along.iter().zip(whitened.effects.chunks_exact(rows)) {
        for (slot, entry) in direction.iter_mut().zip(effect) {
            *slot -= amount * entry;
        }
    }
    let precision = dot(&direction, ones);
    let mut left = residual(all, episode, solution, pulls);
    whiten(
        &mut left,
        &whitened.whitening.memory,
        &whitened.whitening.scale,
    );
    let mean = dot(&direction, &left) / precision;
    // Back from whitened rows: the weights that make the mean of plain residuals.
    let (memory, scale) = (&whitened.whitening.memory, &whitened.whitening.scale);
    let weights: Vec<f64> = (0..rows)
        .map(|row| {
            let own = scale[row] * direction[row];
            let next = if row + 1 < rows {
                memory[row + 1] * scale[row + 1] * direction[row + 1]
            } else {
                0.0
            };
            (own - next) / precision
        })
        .collect();
    let spread = uncertainty(all, episode, solution, pulls, &weights);
    (mean, precision, spread)
}

fn verdict(squares: &[f64]) -> f64 {
    if squares.len() < EPISODES_MIN {
        return 1.0;
    }
    let mean = squares.iter().sum::<f64>() / squares.len() as f64 / CUT_MEAN;
    mean.sqrt().clamp(1.0, FACTOR_MAX)
}
