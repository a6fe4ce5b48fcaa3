//! What a pull would read under a delay, with the correction surface held still.
//!
//! In phi = 1/lambda everything is linear: a parcel has phi = w exp(-theta) (on - X g), with `on` 0
//! while fuel is cut and g = on - q/F the film regressor for the flow F that the table asks for.
//! So `phi(t) = alpha A(t) - sum X_k B_k(t)`, where A and B are carried by transport and lag, and the
//! coefficients follow by least squares. Edges of cuts and quick movements, which the gates refuse
//! as evidence of the surface, are what tells the delay.

use nalgebra::{Matrix3, Vector3};

use crate::film::{FILM_STATES, Film, lag_weights};
use crate::frame::{LAG_S_MAX, MIXING_SHARE};

/// Scalars that travel: A, each B, and the share of exhaust that nothing is known of.
const SCALARS: usize = 2 + FILM_STATES;
/// Time constant of what is taken out of the residual as slow: errors of the surface, offsets. Seconds.
const SLOW_S: f64 = 0.3;
/// A reading counts only when less than this share of its exhaust is unknown.
const UNKNOWN_SHARE_MAX: f64 = 0.03;
/// Standardised residual from which a row loses weight (Huber).
const HUBER: f64 = 1.5;

/// One row of the scene.
#[derive(Debug, Clone, Copy)]
pub(super) struct SceneRow {
    pub(super) offset_s: f64,
    /// Seconds of a working cycle, capped.
    pub(super) cycle_s: f64,
    /// Seconds that a litre of exhaust takes.
    pub(super) s_per_l: f64,
    /// 1/lambda as read; NaN where the reading cannot be used.
    pub(super) phi: f64,
    /// A, B and unknown share of the exhaust made here.
    pub(super) made: [f64; SCALARS],
    /// Whether nothing from before reaches this row.
    pub(super) restarts: bool,
}

impl SceneRow {
    /// Returns what travels with exhaust of `richness` = w exp(-theta), made with or without fuel.
    pub(super) fn made(
        film: &mut Film,
        step_s: f64,
        richness: f64,
        flow: f64,
        on: f64,
        unknown: bool,
    ) -> [f64; SCALARS] {
        let owed = film.owed(step_s, on * flow, flow);
        let mut made = [0.0; SCALARS];
        made[0] = richness * on;
        for (slot, share) in made[1..].iter_mut().zip(owed) {
            *slot = richness * (on - share);
        }
        made[SCALARS - 1] = f64::from(u8::from(unknown));
        made
    }
}

/// A delay as the search has it: cycles, ln(gas volume in litres), ln(lag in seconds).
pub(super) type Place = [f64; 3];

/// What a delay leaves over.
#[derive(Debug, Clone)]
pub(super) struct Left {
    /// Whitened residual of each usable row, in phi.
    pub(super) residual: Vec<f64>,
    /// Rows that it belongs to.
    pub(super) row: Vec<u32>,
}

/// Returns the residuals that a delay leaves, after the best coefficients; `weights` by row.
pub(super) fn left_over(rows: &[SceneRow], place: &Place, weights: &[f64]) -> Left {
    let arrivals = arrivals(rows, place);
    let (gas_l, lag_s) = (place[1].exp(), place[2].exp());
    let mut state = [0.0; SCALARS];
    let mut last_input: Option<[f64; SCALARS]> = None;
    let mut before: Option<(f64, f64, [f64; SCALARS])> = None;
    let mut next = 0;
    let mut whitened: Vec<(u32, f64, [f64; SCALARS])> = Vec::with_capacity(rows.len());
    let mut start = 0;
    let mut last_s = 0.0;
    for (index, row) in rows.iter().enumerate() {
        if row.restarts {
            (last_input, before) = (None, None);
            (start, next) = (index, index);
        }
        while next < index + 1 && next < rows.len() && arrivals[next] <= row.offset_s {
            next += 1;
        }
        if next == start {
            continue;
        }
        let input = interpolate(rows, &arrivals, next, index, row.offset_s);
        match last_input {
            Some(last_input) => {
                let lag_s = (lag_s + MIXING_SHARE * gas_l * row.s_per_l).min(LAG_S_MAX);
                let (keep, early, late) = lag_weights(row.offset_s - last_s, lag_s);
                for (scalar, slot) in state.iter_mut().enumerate() {
                    *slot = keep * *slot + early * last_input[scalar] + late * input[scalar];
                }
            }
            None => state = input,
        }
        (last_input, last_s) = (Some(input), row.offset_s);
        if !row.phi.is_finite() || state[SCALARS - 1] > UNKNOWN_SHARE_MAX {
            before = None;
            continue;
        }
        if let Some((before_s, phi, was)) = before {
            let memory = (-(row.offset_s - before_s) / SLOW_S).exp();
            let scale = 1.0 / (1.0 - memory * memory).sqrt();
            let mut columns = [0.0; SCALARS];
            for (scalar, slot) in columns.iter_mut().enumerate() {
                *slot = (state[scalar] - memory * was[scalar]) * scale;
            }
            let value = (row.phi - memory * phi) * scale;
            whitened.push((u32::try_from(index).unwrap_or(u32::MAX), value, columns));
        }
        before = Some((row.offset_s, row.phi, state));
    }
    regress(whitened, weights)
}

fn arrivals(rows: &[SceneRow], place: &Place) -> Vec<f64> {
    let (cycles, gas_l) = (place[0], place[1].exp());
    let mut latest = f64::NEG_INFINITY;
    rows.iter()
        .map(|row| {
            if row.restarts {
                latest = f64::NEG_INFINITY;
            }
            let delay_s =
                (cycles * row.cycle_s + (1.0 - MIXING_SHARE) * gas_l * row.s_per_l).clamp(0.0, 3.0);
            latest = latest.max(row.offset_s + delay_s);
            latest
        })
        .collect()
}

/// Returns what is at the sensor: between the last parcel that arrived and the next one.
fn interpolate(
    rows: &[SceneRow],
    arrivals: &[f64],
    next: usize,
    now: usize,
    at_s: f64,
) -> [f64; SCALARS] {
    let first = rows[next - 1].made;
    if next > now || arrivals[next] <= arrivals[next - 1] {
        return first;
    }
    let share =
        ((at_s - arrivals[next - 1]) / (arrivals[next] - arrivals[next - 1])).clamp(0.0, 1.0);
    std::array::from_fn(|scalar| first[scalar] + share * (rows[next].made[scalar] - first[scalar]))
}

/// Takes out what A and the films explain, by weighted least squares with weak priors on the films.
fn regress(whitened: Vec<(u32, f64, [f64; SCALARS])>, weights: &[f64]) -> Left {
    let mut square = Matrix3::zeros();
    let mut right = Vector3::zeros();
    for (row, value, columns) in &whitened {
        let weight = weights.get(*row as usize).copied().unwrap_or(1.0);
        let x = Vector3::new(columns[0], columns[1], columns[2]);
        square += weight * x * x.transpose();
        right += weight * x * *value;
    }
    square += Matrix3::identity() * 1e-3;
    let found = square
        .cholesky()
        .map_or(Vector3::new(1.0, 0.0, 0.0), |factor| factor.solve(&right));
    let (row, residual) = whitened
        .into_iter()
        .map(|(row, value, columns)| {
            (
                row,
                value - found[0] * columns[0] - found[1] * columns[1] - found[2] * columns[2],
            )
        })
        .unzip();
    Left { residual, row }
}

/// Returns a robust standard deviation.
pub(super) fn robust_sd(residual: &[f64]) -> f64 {
    let mut sizes: Vec<f64> = residual.iter().map(|value| value.abs()).collect();
    if sizes.is_empty() {
        return 1.0;
    }
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
    (*median / 0.6745).max(1e-4)
}

/// Gives rows robust weights by what a delay leaves over.
pub(super) fn weigh(left: &Left, sd: f64, weights: &mut [f64]) {
    for (&row, residual) in left.row.iter().zip(&left.residual) {
        if let Some(weight) = weights.get_mut(row as usize) {
            *weight = (HUBER * sd / residual.abs().max(1e-12)).min(1.0);
        }
    }
}

/// Returns the sum of Huber's loss of the residuals over `sd`, which asks nothing of earlier weights.
pub(super) fn badness(left: &Left, sd: f64) -> f64 {
    left.residual
        .iter()
        .map(|residual| {
            let size = residual.abs() / sd;
            if size <= HUBER {
                size * size
            } else {
                HUBER * (2.0 * size - HUBER)
            }
        })
        .sum()
}
