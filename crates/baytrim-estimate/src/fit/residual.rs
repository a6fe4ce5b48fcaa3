//! A look at what the fit leaves over: noise, offsets and bad readings.
//!
//! The sizes of the noise are chosen by restricted maximum likelihood, as an EM step: with d the
//! residuals of an episode and P what the uncertainty of theta makes of them, S = dd' + P is what the
//! episode's own covariance C should look like, and the sizes minimise
//! sum of ln det C + tr(C^-1 S) over all episodes.
//! Source: Patterson and Thompson (1971); EM form as in Searle, Casella and others (1992), ch. 8.

use nalgebra::{DMatrix, DVector};

use super::envelope::dot;
use super::episode::{Episode, Episodes, Observation};
use super::noise::{EFFECTS, Effects, Noise, small_backward, small_forward, whiten};
use super::normal::{LOCAL_BORDER, Solution, border_of, film_start};
use super::sizes::{Left, search};
use super::whitened::{Whitened, effect_columns};

/// Standardised size from which a reading or an episode loses weight (Huber). Wide, because
/// an episode is judged as a whole and honest tails are to count in full.
const HUBER: f64 = 2.5;
/// Most episodes that the sizes of the noise are estimated from; more tell nothing new.
const EPISODES_MAX: usize = 150;

/// Improves the robust weights and the sizes of the noise by what `solution` leaves over.
pub(crate) fn improve(all: &mut Episodes, solution: &Solution, pulls: usize, noise: &mut Noise) {
    let stride = all.stays.len().div_ceil(EPISODES_MAX).max(1);
    let mut left = Vec::new();
    let mut whitened = Whitened::default();
    for index in 0..all.stays.len() {
        let episode = all.stays[index].clone();
        let residual = residual(all, &episode, solution, pulls);
        if index % stride == index / stride % stride {
            left.push(left_over(all, &episode, &residual, solution, pulls));
        }
        weigh(all, index, residual, noise, &mut whitened);
    }
    search(&left, stride as f64, noise);
}

/// Returns need less what theta and border explain, row by row, not whitened.
pub(crate) fn residual(
    all: &Episodes,
    episode: &Episode,
    solution: &Solution,
    pulls: usize,
) -> Vec<f64> {
    all.observations[episode.start..episode.end]
        .iter()
        .map(|observation| {
            let mut value = observation.need - solution.border[episode.pull];
            let delay_error = solution.border[pulls + episode.pull] + solution.border[2 * pulls];
            value -= observation.late * delay_error;
            for &(place, share) in &all.footprint[observation.start..observation.end] {
                value -= share * solution.theta[episode.places[place]];
            }
            for (term, film) in observation.film.iter().enumerate() {
                value -= film * solution.border[film_start(pulls) + term];
            }
            value
        })
        .collect()
}

/// Gives the episode and its readings robust weights.
fn weigh(
    all: &mut Episodes,
    index: usize,
    mut residual: Vec<f64>,
    noise: &Noise,
    whitened: &mut Whitened,
) {
    let episode = all.stays[index].clone();
    whitened.fill_effects(all, &episode, noise);
    whiten(
        &mut residual,
        &whitened.whitening.memory,
        &whitened.whitening.scale,
    );
    let rows = whitened.rows;
    let effects = Effects::new(noise, episode.weight, &whitened.effects, rows);
    let mut found = [0.0; EFFECTS];
    for (slot, effect) in found.iter_mut().zip(whitened.effects.chunks_exact(rows)) {
        *slot = dot(effect, &residual);
    }
    small_forward(&effects.factor, &mut found);
    small_backward(&effects.factor, &mut found);
    all.stays[index].weight = (HUBER * noise.episode / found[0].abs().max(1e-12)).clamp(0.02, 1.0);
    for (effect, column) in whitened.effects.chunks_exact(rows).enumerate() {
        for (slot, entry) in residual.iter_mut().zip(column) {
            *slot -= found[effect] * entry;
        }
    }
    for (row, value) in residual.iter().enumerate() {
        let observation = &mut all.observations[episode.start + row];
        // The residual was scaled with the weight that the row had.
        let standardised = value.abs() / observation.weight.sqrt();
        observation.weight = (HUBER / standardised.max(1e-12)).clamp(0.02, 1.0);
    }
}

fn left_over(
    all: &Episodes,
    episode: &Episode,
    residual: &[f64],
    solution: &Solution,
    pulls: usize,
) -> Left {
    let observations = &all.observations[episode.start..episode.end];
    let rows = observations.len();
    let (places, border) = design(all, episode);
    let inverse = DMatrix::from_fn(places.ncols(), places.ncols(), |a, b| {
        solution.inverse.get(episode.places[a], episode.places[b])
    });
    // Border unknowns move the nodes by -spread: what a reading depends on them by is the difference.
    let mut through = DMatrix::zeros(rows, solution.spread.len());
    for (column, spread) in solution.spread.iter().enumerate() {
        for (place, &position) in episode.places.iter().enumerate() {
            let moved = spread[position];
            for row in 0..rows {
                through[(row, column)] -= places[(row, place)] * moved;
            }
        }
    }
    for local in 0..LOCAL_BORDER {
        let column = border_of(episode.pull, pulls, local);
        for row in 0..rows {
            through[(row, column)] += border[(row, local)];
        }
    }
    let of_nodes = &places * inverse * places.transpose();
    let of_border = &through * &solution.border_covariance * through.transpose();
    let square = DMatrix::from_fn(rows, rows, |a, b| {
        residual[a] * residual[b] + of_nodes[(a, b)] + of_border[(a, b)]
    });
    let mut effects = Vec::new();
    effect_columns(observations, &mut effects);
    Left {
        noise: observations.iter().map(Observation::noise).collect(),
        square: square.as_slice().to_vec(),
        effects,
        weight: episode.weight,
    }
}

/// Returns what each reading of an episode is made of: its nodes and the local border.
fn design(all: &Episodes, episode: &Episode) -> (DMatrix<f64>, DMatrix<f64>) {
    let observations = &all.observations[episode.start..episode.end];
    let mut places = DMatrix::zeros(observations.len(), episode.places.len());
    for (row, observation) in observations.iter().enumerate() {
        for &(place, share) in &all.footprint[observation.start..observation.end] {
            places[(row, place)] = share;
        }
    }
    let border = DMatrix::from_fn(observations.len(), LOCAL_BORDER, |row, local| {
        local_border(&observations[row])[local]
    });
    (places, border)
}

/// Returns what a reading has of each unknown of the local border.
fn local_border(observation: &Observation) -> [f64; LOCAL_BORDER] {
    let mut border = [1.0; LOCAL_BORDER];
    border[1..3].fill(observation.late);
    border[3..].copy_from_slice(&observation.film);
    border
}

/// Returns the variance that the uncertainty of the solution gives a weighted sum of an episode's readings.
pub(crate) fn uncertainty(
    all: &Episodes,
    episode: &Episode,
    solution: &Solution,
    pulls: usize,
    weights: &[f64],
) -> f64 {
    let observations = &all.observations[episode.start..episode.end];
    let mut nodes = vec![0.0; episode.places.len()];
    let mut border = DVector::zeros(solution.spread.len());
    for (observation, weight) in observations.iter().zip(weights) {
        for &(place, share) in &all.footprint[observation.start..observation.end] {
            nodes[place] += weight * share;
        }
        for (local, value) in local_border(observation).into_iter().enumerate() {
            border[border_of(episode.pull, pulls, local)] += weight * value;
        }
    }
    for (slot, spread) in border.iter_mut().zip(&solution.spread) {
        let moved = episode.places.iter().zip(&nodes);
        *slot -= moved
            .map(|(&place, value)| value * spread[place])
            .sum::<f64>();
    }
    let mut variance = border.dot(&(&solution.border_covariance * &border));
    for (a, &place) in episode.places.iter().enumerate() {
        let before: f64 = (0..a)
            .map(|b| 2.0 * nodes[b] * solution.inverse.get(place, episode.places[b]))
            .sum();
        variance += nodes[a] * (before + nodes[a] * solution.inverse.get(place, place));
    }
    variance.max(0.0)
}
