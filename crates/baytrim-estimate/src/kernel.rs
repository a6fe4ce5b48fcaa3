//! Transport and lag: which exhaust a reading is of.
//!
//! A charge drawn at s leaves its cylinder some cycles later, at x, and reaches the sensor when the pipe's volume
//! has flowed since: N(x) = N(s) + c with N the cycles run so far, W(t) = W(x) + V with W the volume flowed so far.
//! Both clocks run at the pace of the moment, so exhaust keeps its order, and what lies in the pipe when the plate
//! shuts stays there until the flow has pushed it on. Source: plug flow through a pipe of varying flow, Zenger and
//! Niemi (2009), J. Process Control 19(8), from memory.
//! What arrives at the sensor is read behind a first-order lag. Mixed gas averages in 1/lambda, and with
//! theta the log fuel need and w = (closed-loop trims) exp(trim in force) / target,
//! 1/lambda of a parcel is w exp(-theta), so that to first order
//!
//! `ln lambda(t) + ln W(t) = sum_j r_j(t) theta_j`, `W = sum h w`, `r_j = sum h w phi_j / W`.
//!
//! Everything that belongs to exhaust travels with it: w, w phi, w times the film regressors, and
//! the share of it that was made while a gate refused.

#[cfg(test)]
mod tests;

use std::collections::VecDeque;

use crate::film::{FILM_TERMS, lag_weights};
use crate::surface::Spread;

/// Shares below this are dropped from a footprint.
const SHARE_MIN: f64 = 1e-4;
/// Most parcels on their way; beyond it the oldest are taken as arrived.
const PARCELS_MAX: usize = 65_536;
/// Longest transport that is believed, seconds: exhaust older than that is taken as arrived.
const TRANSPORT_S_MAX: f64 = 8.0;

/// Exhaust made at one row.
#[derive(Debug, Clone, Copy)]
pub struct Parcel {
    /// When it was made, seconds.
    pub made_s: f64,
    /// Working cycles a second.
    pub cycles_per_s: f64,
    /// Exhaust volume flow, litres a second.
    pub flow_l_per_s: f64,
    /// Where it was made.
    pub spread: Spread,
    /// w: fuel-air ratio that it would have if the base table were right.
    pub richness: f64,
    /// Film regressors.
    pub film: [f64; FILM_TERMS],
    /// 1 when it was made while a gate refused, else 0.
    pub refused: f64,
}

/// A parcel with both clocks at the time when it was made.
#[derive(Debug, Clone, Copy)]
struct Made {
    cycles: f64,
    volume_l: f64,
    parcel: Parcel,
}

/// The scalars that travel with exhaust, already multiplied by w.
#[derive(Debug, Clone, Copy, Default)]
struct Load {
    richness: f64,
    film: [f64; FILM_TERMS],
    refused: f64,
}

impl Load {
    fn of(parcel: &Parcel, share: f64) -> Self {
        let weight = parcel.richness * share;
        Self {
            richness: weight,
            film: parcel.film.map(|term| term * weight),
            refused: parcel.refused * weight,
        }
    }

    fn add(&mut self, other: &Self, factor: f64) {
        self.richness += other.richness * factor;
        self.refused += other.refused * factor;
        for (sum, term) in self.film.iter_mut().zip(other.film) {
            *sum += term * factor;
        }
    }

    fn scaled(&self, factor: f64) -> Self {
        let mut scaled = Self::default();
        scaled.add(self, factor);
        scaled
    }
}

/// What one reading speaks for.
#[derive(Debug, Clone, Copy)]
pub struct Mixture {
    /// ln W.
    pub ln_richness: f64,
    /// Film regressors of the gas being read.
    pub film: [f64; FILM_TERMS],
    /// Share of it that was made while a gate refused, or before the log began; 0 to 1.
    pub refused: f64,
    /// Seconds since the gas that arrives was made.
    pub transport_s: f64,
    /// The part of it that was spent in the cylinder.
    pub cycles_s: f64,
}

/// Where the gas that arrives comes from.
#[derive(Debug, Clone, Copy)]
struct Origin {
    made_s: f64,
    left_s: f64,
}

/// The state of transport and lag.
#[derive(Debug, Clone)]
pub struct Kernel {
    lag_s: f64,
    cycles: f64,
    pipe_l: f64,
    made: VecDeque<Made>,
    /// Place in `made` of the last row at which what arrives was still to leave its cylinder.
    leaving: usize,
    last_read_s: f64,
    load: Load,
    last_input: Load,
    /// Lagged w phi per node, with the list of nodes where it is not zero.
    share: Vec<f64>,
    touched: Vec<u32>,
    listed: Vec<bool>,
    last_hats: [(Spread, f64); 2],
    primed: bool,
}

impl Kernel {
    /// Sets the lag that holds until the next reading.
    pub fn set_lag_s(&mut self, lag_s: f64) {
        self.lag_s = lag_s;
    }

    /// Returns an empty kernel for a table of `node_count` nodes: exhaust leaves its cylinder after `cycles` and
    /// the sensor sits `pipe_l` litres behind.
    pub fn new(lag_s: f64, cycles: f64, pipe_l: f64, node_count: usize) -> Self {
        Self {
            lag_s,
            cycles: cycles.max(0.0),
            pipe_l: pipe_l.max(0.0),
            made: VecDeque::new(),
            leaving: 0,
            last_read_s: 0.0,
            load: Load::default(),
            last_input: Load::default(),
            share: vec![0.0; node_count],
            touched: Vec::new(),
            listed: vec![false; node_count],
            last_hats: [(Spread::default(), 0.0); 2],
            primed: false,
        }
    }

    /// Forgets all exhaust, as after a gap.
    pub fn restart(&mut self) {
        self.made.clear();
        self.leaving = 0;
        for &node in &self.touched {
            self.share[node as usize] = 0.0;
            self.listed[node as usize] = false;
        }
        self.touched.clear();
        self.primed = false;
    }

    /// Takes in exhaust; parcels come in the order in which they were made.
    pub fn make(&mut self, parcel: Parcel) {
        let (mut cycles, mut volume_l) = (0.0, 0.0);
        if let Some(Made { parcel: before, .. }) = self.made.back() {
            let step_s = (parcel.made_s - before.made_s).max(0.0);
            let (last_cycles, last_l) = self.clocks();
            cycles = last_cycles + 0.5 * step_s * (before.cycles_per_s + parcel.cycles_per_s);
            volume_l = last_l + 0.5 * step_s * (before.flow_l_per_s + parcel.flow_l_per_s);
        }
        if self.made.len() >= PARCELS_MAX {
            self.forget_first();
        }
        self.made.push_back(Made {
            cycles,
            volume_l,
            parcel,
        });
    }

    fn clocks(&self) -> (f64, f64) {
        let last = self.made.back();
        last.map_or((0.0, 0.0), |last| (last.cycles, last.volume_l))
    }

    fn forget_first(&mut self) {
        self.made.pop_front();
        self.leaving = self.leaving.saturating_sub(1);
    }

    /// Moves on to a reading at `offset_s` and returns what it speaks for; none before the first
    /// parcel has arrived. The nodes' weights are then in [`Kernel::footprint`].
    pub fn read(&mut self, offset_s: f64) -> Option<Mixture> {
        let origin = self.origin(offset_s)?;
        let parts = self.arrived(origin.made_s)?;
        let mut input = Load::default();
        for (parcel, share) in &parts {
            input.add(&Load::of(parcel, *share), 1.0);
        }
        let hats = parts.map(|(parcel, share)| (parcel.spread, parcel.richness * share));
        self.lag(offset_s, &input, &hats);
        let richness = self.load.richness;
        Some(Mixture {
            ln_richness: richness.ln(),
            film: self.load.film.map(|term| term / richness),
            refused: (self.load.refused / richness).clamp(0.0, 1.0),
            transport_s: offset_s - origin.made_s,
            cycles_s: origin.left_s - origin.made_s,
        })
    }

    /// Returns when the gas that arrives at `offset_s` left its cylinder and when it was made; drops what has
    /// arrived before it. None while the first parcel is on its way.
    fn origin(&mut self, offset_s: f64) -> Option<Origin> {
        let last = self.made.back()?;
        let since_s = offset_s - last.parcel.made_s;
        let volume_l = last.volume_l + since_s * last.parcel.flow_l_per_s - self.pipe_l;
        let until = |made: &Made| made.volume_l <= volume_l;
        while self.made.get(self.leaving + 1).is_some_and(until) {
            self.leaving += 1;
        }
        let leaving = self.made[self.leaving];
        let left_s = self.time_at(self.leaving, volume_l - leaving.volume_l, |made| {
            (made.volume_l, made.parcel.flow_l_per_s)
        });
        let next = self.made.get(self.leaving + 1);
        let cycles = match next {
            Some(next) => {
                let span_s = next.parcel.made_s - leaving.parcel.made_s;
                let share = (left_s - leaving.parcel.made_s) / span_s.max(1e-9);
                leaving.cycles + share * (next.cycles - leaving.cycles)
            }
            None => leaving.cycles + (left_s - leaving.parcel.made_s) * leaving.parcel.cycles_per_s,
        } - self.cycles;
        let arrived =
            |made: &Made| made.cycles <= cycles || offset_s - made.parcel.made_s > TRANSPORT_S_MAX;
        while self.made.get(1).is_some_and(arrived) {
            self.forget_first();
        }
        let first = self.made.front()?;
        if first.cycles > cycles || first.volume_l > volume_l {
            return None;
        }
        let made_s = self.time_at(0, cycles - first.cycles, |made| {
            (made.cycles, made.parcel.cycles_per_s)
        });
        Some(Origin {
            made_s: made_s.max(offset_s - TRANSPORT_S_MAX),
            left_s: left_s.max(made_s),
        })
    }

    /// Returns when a clock stood `ahead` of where it stood at the row `at`; `clock` returns its reading and pace.
    fn time_at(&self, at: usize, ahead: f64, clock: impl Fn(&Made) -> (f64, f64)) -> f64 {
        let here = &self.made[at];
        let (from, pace) = clock(here);
        match self.made.get(at + 1) {
            Some(next) => {
                let span_s = next.parcel.made_s - here.parcel.made_s;
                let share = ahead / (clock(next).0 - from).max(1e-12);
                here.parcel.made_s + share.clamp(0.0, 1.0) * span_s
            }
            None => here.parcel.made_s + ahead / pace.max(1e-9),
        }
    }

    /// Returns the two parcels between which gas made at `made_s` lies, with their shares.
    fn arrived(&self, made_s: f64) -> Option<[(Parcel, f64); 2]> {
        let first = self.made.front()?.parcel;
        let next = self.made.get(1).map(|next| next.parcel);
        Some(match next {
            Some(next) if next.made_s > first.made_s => {
                let share =
                    ((made_s - first.made_s) / (next.made_s - first.made_s)).clamp(0.0, 1.0);
                [(first, 1.0 - share), (next, share)]
            }
            _ => [(first, 1.0), (first, 0.0)],
        })
    }

    fn lag(&mut self, offset_s: f64, input: &Load, hats: &[(Spread, f64); 2]) {
        if self.primed {
            let (keep, early, late) = lag_weights(offset_s - self.last_read_s, self.lag_s);
            let mut load = self.load.scaled(keep);
            load.add(&self.last_input, early);
            load.add(input, late);
            self.load = load;
            for &node in &self.touched {
                self.share[node as usize] *= keep;
            }
            let last_hats = self.last_hats;
            self.add_hats(&last_hats, early);
            self.add_hats(hats, late);
        } else {
            self.load = *input;
            // What the sensor had read before is not known; it fades with the lag.
            self.load.refused = input.richness;
            self.add_hats(hats, 1.0);
            self.primed = true;
        }
        self.last_read_s = offset_s;
        self.last_input = *input;
        self.last_hats = *hats;
        let floor = SHARE_MIN * self.load.richness;
        let (share, listed) = (&mut self.share, &mut self.listed);
        self.touched.retain(|&node| {
            let keep = share[node as usize].abs() > floor;
            if !keep {
                share[node as usize] = 0.0;
                listed[node as usize] = false;
            }
            keep
        });
    }

    fn add_hats(&mut self, hats: &[(Spread, f64); 2], factor: f64) {
        for (spread, weight) in hats {
            for corner in 0..16 {
                let add = spread.weight[corner] * weight * factor;
                if add != 0.0 {
                    let node = spread.node[corner];
                    if !self.listed[node as usize] {
                        self.listed[node as usize] = true;
                        self.touched.push(node);
                    }
                    self.share[node as usize] += add;
                }
            }
        }
    }

    /// Returns the nodes that the last reading speaks for with their weights, which add up to one
    /// save for dropped crumbs.
    pub fn footprint(&self) -> impl Iterator<Item = (u32, f64)> + '_ {
        let total = self.load.richness;
        self.touched
            .iter()
            .map(move |&node| (node, self.share[node as usize] / total))
    }
}
