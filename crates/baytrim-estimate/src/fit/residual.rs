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
use super::noise::{
    BLOCK_RANGE, CORRELATION_RANGE, EFFECTS, EPISODE_RANGE, Effects, FILM_RANGE, Noise, RowNoise,
    Whitening, small_backward, small_forward, whiten,
};
use super::normal::{Columns, LOCAL_BORDER, Solution, border_of, film_start};

/// Standardised size from which a reading or an episode loses weight (Huber). Wide, because
/// an episode is judged as a whole and honest tails are to count in full.
const HUBER: f64 = 2.5;
/// Most episodes that the sizes of the noise are estimated from; more tell nothing new.
const EPISODES_MAX: usize = 150;
/// Rounds of the search for the sizes.
const SEARCH_ROUNDS: usize = 3;

/// What one episode leaves over.
#[derive(Debug, Clone)]
struct Left {
    rows: usize,
    noise: Vec<RowNoise>,
    /// S, row by row, not whitened.
    square: Vec<f64>,
    /// Random-effect columns, not whitened.
    effects: Vec<f64>,
    weight: f64,
}

/// Improves the robust weights and the sizes of the noise by what `solution` leaves over.
pub(crate) fn improve(all: &mut Episodes, solution: &Solution, pulls: usize, noise: &mut Noise) {
    let stride = all.stays.len().div_ceil(EPISODES_MAX).max(1);
    let mut left = Vec::new();
    let mut columns = Columns::default();
    for index in 0..all.stays.len() {
        let episode = all.stays[index].clone();
        let residual = residual(all, &episode, solution, pulls);
        if index % stride == index / stride % stride {
            left.push(left_over(all, &episode, &residual, solution, pulls));
        }
        weigh(all, index, residual, noise, &mut columns);
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
    columns: &mut Columns,
) {
    let episode = all.stays[index].clone();
    columns.fill_effects(all, &episode, noise);
    whiten(
        &mut residual,
        &columns.whitening.memory,
        &columns.whitening.scale,
    );
    let rows = columns.rows;
    let effects = Effects::new(noise, episode.weight, &columns.effects, rows);
    let mut found = [0.0; EFFECTS];
    for (slot, effect) in found.iter_mut().zip(columns.effects.chunks_exact(rows)) {
        *slot = dot(effect, &residual);
    }
    small_forward(&effects.factor, &mut found);
    small_backward(&effects.factor, &mut found);
    all.stays[index].weight = (HUBER * noise.episode / found[0].abs().max(1e-12)).clamp(0.02, 1.0);
    for (effect, column) in columns.effects.chunks_exact(rows).enumerate() {
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
    let design = design(all, episode);
    let mut effects = vec![0.0; EFFECTS * rows];
    for (row, observation) in observations.iter().enumerate() {
        effects[row] = 1.0;
        for (term, &film) in observation.film.iter().take(EFFECTS - 1).enumerate() {
            effects[(1 + term) * rows + row] = film;
        }
    }
    let covariance = local_covariance(episode, solution, pulls);
    let spread = &design * covariance * design.transpose();
    let mut square = vec![0.0; rows * rows];
    for a in 0..rows {
        for b in 0..rows {
            square[a * rows + b] = residual[a] * residual[b] + spread[(a, b)];
        }
    }
    Left {
        rows,
        noise: observations.iter().map(Observation::noise).collect(),
        square,
        effects,
        weight: episode.weight,
    }
}

/// Returns what each reading of an episode is made of: its nodes, then the local border.
fn design(all: &Episodes, episode: &Episode) -> DMatrix<f64> {
    let observations = &all.observations[episode.start..episode.end];
    let places = episode.places.len();
    let mut design = DMatrix::zeros(observations.len(), places + LOCAL_BORDER);
    for (row, observation) in observations.iter().enumerate() {
        for &(place, share) in &all.footprint[observation.start..observation.end] {
            design[(row, place)] = share;
        }
        design[(row, places)] = 1.0;
        design[(row, places + 1)] = observation.late;
        design[(row, places + 2)] = observation.late;
        for (term, &film) in observation.film.iter().enumerate() {
            design[(row, places + 3 + term)] = film;
        }
    }
    design
}

/// Returns the variance that the uncertainty of the solution gives a weighted sum of an episode's readings.
pub(crate) fn uncertainty(
    all: &Episodes,
    episode: &Episode,
    solution: &Solution,
    pulls: usize,
    weights: &[f64],
) -> f64 {
    let sum = design(all, episode).tr_mul(&DVector::from_column_slice(weights));
    (sum.transpose() * local_covariance(episode, solution, pulls) * &sum)[0].max(0.0)
}

/// Returns the posterior covariance of what an episode's readings depend on.
fn local_covariance(episode: &Episode, solution: &Solution, pulls: usize) -> DMatrix<f64> {
    let places = &episode.places;
    let count = places.len() + LOCAL_BORDER;
    let border = solution.spread.len();
    let spread = DMatrix::from_fn(places.len(), border, |a, b| solution.spread[b][places[a]]);
    let leaned = &spread * &solution.border_covariance;
    let through = &leaned * spread.transpose();
    let border_of = |local: usize| border_of(episode.pull, pulls, local);
    DMatrix::from_fn(count, count, |a, b| {
        match (a < places.len(), b < places.len()) {
            (true, true) => solution.inverse.get(places[a], places[b]) + through[(a, b)],
            (true, false) => -leaned[(a, border_of(b - places.len()))],
            (false, true) => -leaned[(b, border_of(a - places.len()))],
            (false, false) => {
                solution.border_covariance
                    [(border_of(a - places.len()), border_of(b - places.len()))]
            }
        }
    })
}

/// Returns sum of ln det C + tr(C^-1 S): twice the negative logarithm of the likelihood.
fn badness(left: &[Left], noise: &Noise) -> f64 {
    let mut whitening = Whitening::default();
    let mut square = Vec::new();
    let mut effects = Vec::new();
    let mut sum = 0.0;
    for one in left {
        let rows = one.rows;
        whitening.prepare(noise, one.noise.iter().copied());
        square.clone_from(&one.square);
        effects.clone_from(&one.effects);
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
        let marginal = Effects::new(noise, one.weight, &effects, rows);
        sum += marginal.ln_determinant - 2.0 * whitening.ln_scale();
        sum += (0..rows).map(|row| square[row * rows + row]).sum::<f64>();
        sum -= explained_by_effects(&marginal, &square, &effects, rows);
    }
    sum
}

/// Returns tr((D^-1 + Z'Z)^-1 Z' (W S W') Z).
fn explained_by_effects(marginal: &Effects, square: &[f64], effects: &[f64], rows: usize) -> f64 {
    let mut inner = [[0.0; EFFECTS]; EFFECTS];
    let mut product = vec![0.0; rows];
    for (a, left) in effects.chunks_exact(rows).enumerate() {
        for (slot, row) in product.iter_mut().zip(square.chunks_exact(rows)) {
            *slot = dot(row, left);
        }
        for (b, right) in effects.chunks_exact(rows).enumerate() {
            inner[a][b] = dot(&product, right);
        }
    }
    let mut trace = 0.0;
    for (effect, column) in inner.iter_mut().enumerate() {
        small_forward(&marginal.factor, column);
        small_backward(&marginal.factor, column);
        trace += column[effect];
    }
    trace
}

/// Moves the sizes of the noise to where the left-overs are likeliest, one size at a time.
fn search(left: &[Left], stride: f64, noise: &mut Noise) {
    let badness = |noise: &Noise| badness(left, noise) + noise.prior_badness() / stride;
    if left.len() < 5 {
        return;
    }
    let mut best = badness(noise);
    let mut step = 0.5;
    for _ in 0..SEARCH_ROUNDS {
        for size in 0..4 {
            for direction in [1.0, -1.0] {
                let mut tried = *noise;
                shift(&mut tried, size, direction * step);
                let value = badness(&tried);
                if value < best {
                    (best, *noise) = (value, tried);
                    break;
                }
            }
        }
        step *= 0.6;
    }
}

/// Moves one size by `step`: sizes in their logarithm, the correlation in its logit.
fn shift(noise: &mut Noise, size: usize, step: f64) {
    let scaled = |value: f64, (low, high): (f64, f64)| (value * step.exp()).clamp(low, high);
    match size {
        0 => noise.block = scaled(noise.block, BLOCK_RANGE),
        1 => {
            let odds = noise.correlation / (1.0 - noise.correlation) * (2.0 * step).exp();
            let (low, high) = CORRELATION_RANGE;
            noise.correlation = (odds / (1.0 + odds)).clamp(low, high);
        }
        2 => noise.episode = scaled(noise.episode, EPISODE_RANGE),
        _ => noise.film = scaled(noise.film, FILM_RANGE),
    }
}
