//! Transport and lag: which exhaust a reading is of.
//!
//! A parcel made at s arrives at s + d(s), never before the parcel ahead of it. What arrives at the
//! sensor is read behind a first-order lag. Mixed gas averages in 1/lambda, and with
//! theta the log fuel need and w = (closed-loop trims) exp(trim in force) / target,
//! 1/lambda of a parcel is w exp(-theta), so that to first order
//!
//! `ln lambda(t) + ln W(t) = sum_j r_j(t) theta_j`, `W = sum h w`, `r_j = sum h w phi_j / W`.
//!
//! Everything that belongs to exhaust travels with it: w, w phi, w times the film regressors, and
//! the share of it that was made while a gate refused.

use std::collections::VecDeque;

use crate::film::{FILM_TERMS, lag_weights};
use crate::surface::Spread;

/// Shares below this are dropped from a footprint.
const SHARE_MIN: f64 = 1e-4;
/// Most parcels on their way; beyond it the oldest are taken as arrived.
const PARCELS_MAX: usize = 65_536;

/// Exhaust made at one row.
#[derive(Debug, Clone, Copy)]
pub struct Parcel {
    /// When it was made, seconds.
    pub made_s: f64,
    /// Transport delay, seconds.
    pub delay_s: f64,
    /// Where it was made.
    pub spread: Spread,
    /// w: fuel-air ratio that it would have if the base table were right.
    pub richness: f64,
    /// Film regressors.
    pub film: [f64; FILM_TERMS],
    /// 1 when it was made while a gate refused, else 0.
    pub refused: f64,
}

#[derive(Debug, Clone, Copy)]
struct Arriving {
    arrives_s: f64,
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
}

/// The state of transport and lag.
#[derive(Debug, Clone)]
pub struct Kernel {
    lag_s: f64,
    parcels: VecDeque<Arriving>,
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

    /// Returns an empty kernel for a table of `node_count` nodes.
    pub fn new(lag_s: f64, node_count: usize) -> Self {
        Self {
            lag_s,
            parcels: VecDeque::new(),
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
        self.parcels.clear();
        for &node in &self.touched {
            self.share[node as usize] = 0.0;
            self.listed[node as usize] = false;
        }
        self.touched.clear();
        self.primed = false;
    }

    /// Takes in exhaust; parcels come in the order in which they were made.
    pub fn make(&mut self, parcel: Parcel) {
        let mut arrives_s = parcel.made_s + parcel.delay_s;
        if let Some(ahead) = self.parcels.back() {
            arrives_s = arrives_s.max(ahead.arrives_s);
        }
        if self.parcels.len() >= PARCELS_MAX {
            self.parcels.pop_front();
        }
        self.parcels.push_back(Arriving { arrives_s, parcel });
    }

    /// Moves on to a reading at `offset_s` and returns what it speaks for; none before the first
    /// parcel has arrived. The nodes' weights are then in [`Kernel::footprint`].
    pub fn read(&mut self, offset_s: f64) -> Option<Mixture> {
        while self
            .parcels
            .get(1)
            .is_some_and(|next| next.arrives_s <= offset_s)
        {
            self.parcels.pop_front();
        }
        let first = *self.parcels.front()?;
        if first.arrives_s > offset_s {
            return None;
        }
        let hats = self.arrived(&first, offset_s);
        let mut input = Load::default();
        for (arriving, share) in &hats {
            input.add(&Load::of(&arriving.parcel, *share), 1.0);
        }
        let hats = hats
            .map(|(arriving, share)| (arriving.parcel.spread, arriving.parcel.richness * share));
        self.lag(offset_s, &input, &hats);
        let richness = self.load.richness;
        Some(Mixture {
            ln_richness: richness.ln(),
            film: self.load.film.map(|term| term / richness),
            refused: (self.load.refused / richness).clamp(0.0, 1.0),
        })
    }

    /// Returns the two parcels between which the gas at the sensor was made, with their shares.
    fn arrived(&self, first: &Arriving, offset_s: f64) -> [(Arriving, f64); 2] {
        match self.parcels.get(1) {
            Some(next) if next.arrives_s > first.arrives_s => {
                let share = (offset_s - first.arrives_s) / (next.arrives_s - first.arrives_s);
                [(*first, 1.0 - share), (*next, share)]
            }
            _ => [(*first, 1.0), (*first, 0.0)],
        }
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

#[cfg(test)]
mod tests {
    use super::{Kernel, Parcel};
    use crate::film::FILM_TERMS;
    use crate::surface::Spread;

    fn parcel(made_s: f64, node: u32, richness: f64, refused: f64) -> Parcel {
        Parcel {
            made_s,
            delay_s: 0.1,
            spread: Spread {
                node: [node; 16],
                weight: std::array::from_fn(|corner| f64::from(u8::from(corner == 0))),
            },
            richness,
            film: [0.0; FILM_TERMS],
            refused,
        }
    }

    /// A footprint that left the closed form of delay and lag would credit the wrong nodes.
    #[test]
    fn a_step_arrives_after_the_delay_and_with_the_lag() {
        let (lag_s, step_s) = (0.08, 0.005);
        let mut kernel = Kernel::new(lag_s, 2);
        for row in 0..400 {
            let time = f64::from(row) * step_s;
            kernel.make(parcel(time, u32::from(time > 0.9999), 1.0, 0.0));
            let read = kernel.read(time);
            let weight: f64 = kernel
                .footprint()
                .filter(|&(node, _)| node == 1)
                .map(|(_, w)| w)
                .sum();
            // The step lies between two rows: half a row before the first row that has it.
            let since = time - (1.0 - step_s / 2.0) - 0.1;
            let wanted = if since <= 0.0 {
                0.0
            } else {
                1.0 - (-since / lag_s).exp()
            };
            if read.is_some() && (since.abs() > step_s) {
                assert!(
                    (weight - wanted).abs() < 2e-3,
                    "{time}: {weight} for {wanted}"
                );
            }
        }
    }

    /// Mixed gas averages in 1/lambda: equal parts of 0.8 and 1.2 read 0.96.
    #[test]
    fn gas_mixes_by_equivalence_ratio() {
        let mut kernel = Kernel::new(0.0, 2);
        kernel.make(Parcel {
            delay_s: 0.0,
            ..parcel(0.0, 0, 1.0 / 0.8, 0.0)
        });
        kernel.make(Parcel {
            delay_s: 0.0,
            ..parcel(2.0, 1, 1.0 / 1.2, 0.0)
        });
        kernel.read(0.5);
        let mixture = kernel.read(1.0).expect("arrived");
        assert!(((-mixture.ln_richness).exp() - 0.96).abs() < 1e-12);
    }

    /// Exhaust made while a gate refused must spoil what is read later, and only as long as it lasts.
    #[test]
    fn refusals_travel_with_the_exhaust() {
        let mut kernel = Kernel::new(0.05, 1);
        for row in 0..200 {
            let time = f64::from(row) * 0.01;
            let refused = f64::from(u8::from((0.995..1.195).contains(&time)));
            kernel.make(parcel(time, 0, 1.0, refused));
            let Some(mixture) = kernel.read(time) else {
                continue;
            };
            if (0.6..1.08).contains(&time) || time > 1.7 {
                assert!(mixture.refused < 0.01, "{time}: {}", mixture.refused);
            }
            if (1.25..1.29).contains(&time) {
                assert!(mixture.refused > 0.9, "{time}: {}", mixture.refused);
            }
        }
    }
}
