//! What a pull would read under a delay, with the correction surface held still.
//!
//! In phi = 1/lambda everything is linear: a parcel has phi = w exp(-theta) (on - X g), with `on` 0
//! while fuel is cut and g = on - q/F the film regressor for the flow F that the table asks for.
//! So `phi(t) = alpha A(t) - sum X_k B_k(t) - L C(t)`, with C the lead of the metering, where A, B and C are carried by
//! transport and lag, and the coefficients follow by least squares. Edges of cuts and quick movements, which the gates
//! refuse as evidence of the surface, are what tells the delay; rows in which films swing are trusted less, since the
//! film's model errs there.

use nalgebra::{SMatrix, SVector};

use crate::film::{FILM_STATES, Film, lag_weights};
use crate::frame::{LAG_S_MAX, MIXING_SHARE};

/// Those of what travels that explain a reading: A, each B, and the lead.
const TERMS: usize = 2 + FILM_STATES;
/// How far films are from where they settle, of gas that was made with fuel.
const SWING: usize = TERMS;
/// Share of exhaust that nothing is known of.
const UNKNOWN: usize = TERMS + 1;
/// Scalars that travel.
const SCALARS: usize = TERMS + 2;
/// Time constant of what is taken out of the residual as slow: errors of the surface, offsets. Seconds.
const SLOW_S: f64 = 0.3;
/// A reading counts only when less than this share of its exhaust is unknown.
const UNKNOWN_SHARE_MAX: f64 = 0.03;
/// Error of the film model, as a share of a film's swing, over the scatter of a settled reading: a tenth over a
/// hundredth. Without it quick movements, which are most of a ride, decide with what no film model knows: delays of
/// rides and sweeps came out wrong by 30 % instead of by 15 to 22 (simulated engines, seeds 1001 to 1040).
const FILM_DOUBT: f64 = 10.0;
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
        lead: f64,
        unknown: bool,
    ) -> [f64; SCALARS] {
        let owed = film.owed(step_s, on * flow, flow);
        let mut made = [0.0; SCALARS];
        made[0] = richness * on;
        made[TERMS - 1] = richness * on * lead;
        for (slot, share) in made[1..=FILM_STATES].iter_mut().zip(owed) {
            *slot = richness * (on - share);
        }
        let swing = owed.map(|share| (1.0 - share).abs());
        made[SWING] = richness * on * swing.into_iter().fold(0.0, f64::max);
        made[UNKNOWN] = f64::from(u8::from(unknown));
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
    /// Weight of each by what is known before: 1 where films are settled.
    pub(super) trust: Vec<f64>,
}

/// The rows of a pull as the search sees them, with what no delay changes.
#[derive(Debug, Clone)]
pub(super) struct Scene {
    rows: Vec<SceneRow>,
    /// Cycles run and litres flowed.
    clocks: Vec<[f64; 2]>,
    /// How much of a slow error is left since the row before, and the scale that makes what is new of size one.
    whitening: Vec<(f64, f64)>,
}

impl Scene {
    pub(super) fn new(rows: Vec<SceneRow>) -> Self {
        let clocks = clocks(&rows);
        let steps = rows.windows(2).map(|pair| {
            let memory = (-(pair[1].offset_s - pair[0].offset_s) / SLOW_S).exp();
            (memory, 1.0 / (1.0 - memory * memory).sqrt())
        });
        let whitening = std::iter::once((0.0, 1.0)).chain(steps).collect();
        Self {
            rows,
            clocks,
            whitening,
        }
    }

    pub(super) fn rows(&self) -> &[SceneRow] {
        &self.rows
    }

    /// Returns the residuals that a delay leaves, after the best coefficients; `weights` by row.
    pub(super) fn left_over(&self, place: &Place, weights: &[f64]) -> Left {
        let (gas_l, lag_s) = (place[1].exp(), place[2].exp());
        let mut state = [0.0; SCALARS];
        let mut last_input: Option<[f64; SCALARS]> = None;
        let mut before: Option<(f64, [f64; SCALARS])> = None;
        let mut whitened = Vec::with_capacity(self.rows.len());
        let mut origin = Origin::default();
        let mut last_s = 0.0;
        for (index, row) in self.rows.iter().enumerate() {
            if row.restarts {
                (last_input, before) = (None, None);
                origin = Origin::at(index);
            }
            let pipe_l = (1.0 - MIXING_SHARE) * gas_l;
            let Some(share) = origin.advance(&self.clocks, index, place[0], pipe_l) else {
                continue;
            };
            let input = self.made(&origin, index, share);
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
            if !row.phi.is_finite() || state[UNKNOWN] > UNKNOWN_SHARE_MAX {
                before = None;
                continue;
            }
            if let Some((phi, was)) = before {
                let (memory, scale) = self.whitening[index];
                let new = |now: f64, was: f64| (now - memory * was) * scale;
                let doubt = FILM_DOUBT * state[SWING].max(was[SWING]);
                whitened.push(Whitened {
                    trust: 1.0 / (1.0 + doubt * doubt),
                    row: u32::try_from(index).unwrap_or(u32::MAX),
                    value: new(row.phi, phi),
                    columns: std::array::from_fn(|term| new(state[term], was[term])),
                });
            }
            before = Some((row.phi, state));
        }
        regress(&whitened, weights)
    }

    /// Returns what was made `share` of the way from the row of `origin` to the next.
    fn made(&self, origin: &Origin, now: usize, share: f64) -> [f64; SCALARS] {
        let first = &self.rows[origin.made].made;
        let next = &self.rows[(origin.made + 1).min(now)].made;
        std::array::from_fn(|scalar| first[scalar] + share * (next[scalar] - first[scalar]))
    }
}

/// One usable row without what it shares with the row before.
struct Whitened {
    row: u32,
    value: f64,
    columns: [f64; TERMS],
    trust: f64,
}

/// Cycles run and litres flowed up to each row since the last restart.
fn clocks(rows: &[SceneRow]) -> Vec<[f64; 2]> {
    let mut now = [0.0; 2];
    let mut before: Option<&SceneRow> = None;
    rows.iter()
        .map(|row| {
            match before {
                Some(before) if !row.restarts => {
                    let half_s = 0.5 * (row.offset_s - before.offset_s);
                    now[0] += half_s * (1.0 / before.cycle_s + 1.0 / row.cycle_s);
                    now[1] += half_s * (1.0 / before.s_per_l + 1.0 / row.s_per_l);
                }
                _ => now = [0.0; 2],
            }
            before = Some(row);
            now
        })
        .collect()
}

/// Where the gas at the sensor comes from: the last row before it left its cylinder, and before it was made.
#[derive(Debug, Clone, Copy, Default)]
struct Origin {
    start: usize,
    leaving: usize,
    made: usize,
}

impl Origin {
    fn at(start: usize) -> Self {
        Self {
            start,
            leaving: start,
            made: start,
        }
    }

    /// Moves on to the row `now` and returns how far between the row `made` and the next the gas was made.
    fn advance(
        &mut self,
        clocks: &[[f64; 2]],
        now: usize,
        cycles: f64,
        pipe_l: f64,
    ) -> Option<f64> {
        let left_l = clocks[now][1] - pipe_l;
        if left_l < clocks[self.start][1] {
            return None;
        }
        while self.leaving < now && clocks[self.leaving + 1][1] <= left_l {
            self.leaving += 1;
        }
        let here = clocks[self.leaving];
        let next = clocks[(self.leaving + 1).min(now)];
        let share = ((left_l - here[1]) / (next[1] - here[1]).max(1e-12)).clamp(0.0, 1.0);
        let made = here[0] + share * (next[0] - here[0]) - cycles;
        if made < clocks[self.start][0] {
            return None;
        }
        while self.made < now && clocks[self.made + 1][0] <= made {
            self.made += 1;
        }
        let next = clocks[(self.made + 1).min(now)][0];
        let ahead = (made - clocks[self.made][0]) / (next - clocks[self.made][0]).max(1e-12);
        Some(ahead.clamp(0.0, 1.0))
    }
}

/// Takes out what A and the films explain, by weighted least squares with weak priors on the films.
fn regress(whitened: &[Whitened], weights: &[f64]) -> Left {
    let mut square = SMatrix::<f64, TERMS, TERMS>::zeros();
    let mut right = SVector::<f64, TERMS>::zeros();
    for one in whitened {
        let weight = weights.get(one.row as usize).copied().unwrap_or(1.0);
        let x = SVector::<f64, TERMS>::from(one.columns);
        square += weight * x * x.transpose();
        right += weight * x * one.value;
    }
    square += SMatrix::<f64, TERMS, TERMS>::identity() * 1e-3;
    let found = square
        .cholesky()
        .map_or(SVector::<f64, TERMS>::zeros(), |factor| {
            factor.solve(&right)
        });
    let left = |one: &Whitened| one.value - found.dot(&SVector::<f64, TERMS>::from(one.columns));
    Left {
        residual: whitened.iter().map(left).collect(),
        row: whitened.iter().map(|one| one.row).collect(),
        trust: whitened.iter().map(|one| one.trust).collect(),
    }
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

/// What the residuals of one place make of the rows, held while the search goes on from there.
#[derive(Debug, Clone)]
pub(super) struct Weighing {
    /// Robust weight of each row times its trust.
    pub(super) weights: Vec<f64>,
    trust: Vec<f64>,
    pub(super) sd: f64,
}

impl Weighing {
    /// Weighs `rows` rows alike.
    pub(super) fn even(rows: usize) -> Self {
        Self {
            weights: vec![1.0; rows],
            trust: vec![1.0; rows],
            sd: 1.0,
        }
    }

    /// Weighs rows by what a delay leaves over.
    pub(super) fn renew(&mut self, left: &Left) {
        for (&row, &trust) in left.row.iter().zip(&left.trust) {
            self.trust[row as usize] = trust;
        }
        let sizes = left.row.iter().zip(&left.residual);
        let sizes = sizes.map(|(&row, residual)| self.size(row, *residual));
        self.sd = robust_sd(&sizes.collect::<Vec<f64>>());
        for (&row, residual) in left.row.iter().zip(&left.residual) {
            let robust = (HUBER * self.sd / self.size(row, *residual).max(1e-12)).min(1.0);
            self.weights[row as usize] = robust * self.trust[row as usize];
        }
    }

    fn size(&self, row: u32, residual: f64) -> f64 {
        residual.abs() * self.trust[row as usize].sqrt()
    }

    /// Returns the sum of Huber's loss of the residuals, which asks nothing of earlier robust weights.
    pub(super) fn badness(&self, left: &Left) -> f64 {
        let losses = left.row.iter().zip(&left.residual).map(|(&row, residual)| {
            let size = self.size(row, *residual) / self.sd;
            if size <= HUBER {
                size * size
            } else {
                HUBER * (2.0 * size - HUBER)
            }
        });
        losses.sum()
    }
}
