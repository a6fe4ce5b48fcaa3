//! Everything that makes two readings of one place differ.

use crate::random::{Dice, Purpose};

/// Sizes of an engine's own noise, in log units of lambda.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseSizes {
    /// Standard deviation of one firing's mixture at full load; light load has up to twice it.
    pub firing: f64,
    /// Correlation from one cycle to the next.
    pub firing_memory: f64,
    /// Standard deviation between visits.
    pub episode: f64,
    /// Standard deviation between pulls.
    pub pull: f64,
    /// Standard deviation of the meter's own noise.
    pub meter: f64,
}

impl NoiseSizes {
    /// Returns sizes drawn for an engine.
    pub fn draw(dice: &mut Dice) -> Self {
        Self {
            firing: dice.uniform(0.010, 0.018),
            firing_memory: dice.uniform(0.4, 0.75),
            episode: dice.uniform(0.005, 0.010),
            pull: 0.005,
            meter: 0.0015,
        }
    }

    /// Returns the sizes times `scale`.
    #[must_use]
    pub fn scaled(self, scale: f64) -> Self {
        Self {
            firing: self.firing * scale,
            episode: self.episode * scale,
            pull: self.pull * scale,
            meter: self.meter * scale,
            ..self
        }
    }
}

/// The noise of one pull.
#[derive(Debug, Clone)]
pub struct PullNoise {
    sizes: NoiseSizes,
    dice: Dice,
    firing_state: Vec<f64>,
    pull_offset: f64,
    anchor: Option<[f64; 2]>,
    anchor_s: f64,
    episode_target: f64,
    episode: f64,
}

/// A place this far from where an episode began, in `ln rpm` or in root of plate share, is another visit.
const EPISODE_REACH: f64 = 0.10;
/// An episode lasts at least this long, so that fast sweeps do not average their episodes away.
const EPISODE_S_MIN: f64 = 1.5;
/// Time constant with which a new episode's offset comes in.
const EPISODE_BLEND_S: f64 = 0.3;

impl PullNoise {
    /// Returns the noise of the pull `seed`.
    pub fn new(sizes: NoiseSizes, cylinders: usize, seed: u64) -> Self {
        let mut dice = Dice::new(seed, Purpose::Noise);
        let pull_offset = sizes.pull * dice.normal();
        let episode = sizes.episode * dice.normal();
        Self {
            sizes,
            firing_state: (0..cylinders).map(|_| dice.normal()).collect(),
            dice,
            pull_offset,
            anchor: None,
            anchor_s: f64::NEG_INFINITY,
            episode_target: episode,
            episode,
        }
    }

    /// Returns the log error of one firing of `cylinder` at `filling` (ratio).
    pub fn firing(&mut self, cylinder: usize, filling: f64) -> f64 {
        let memory = self.sizes.firing_memory;
        let fresh = libm::sqrt(1.0 - memory * memory) * self.dice.normal();
        let state = &mut self.firing_state[cylinder];
        *state = memory * *state + fresh;
        self.sizes.firing * (2.0 - filling.clamp(0.0, 1.0)) * *state
    }

    /// Returns the log offset of the present visit and of the pull together.
    pub fn slow(&mut self, now_s: f64, step_s: f64, rpm: f64, plate_percent: f64) -> f64 {
        let place = [
            libm::log(rpm.max(1.0)),
            libm::sqrt(plate_percent.max(0.0) / 100.0),
        ];
        let elsewhere = self.anchor.is_none_or(|anchor| {
            (place[0] - anchor[0])
                .abs()
                .max((place[1] - anchor[1]).abs())
                > EPISODE_REACH
        });
        if elsewhere && now_s - self.anchor_s >= EPISODE_S_MIN {
            self.anchor = Some(place);
            self.anchor_s = now_s;
            self.episode_target = self.sizes.episode * self.dice.normal();
        }
        self.episode += step_s / EPISODE_BLEND_S * (self.episode_target - self.episode);
        self.episode + self.pull_offset
    }

    /// Returns the meter's own log error of one reading.
    pub fn meter(&mut self) -> f64 {
        self.sizes.meter * self.dice.normal()
    }

    /// Returns the pull's offset in log units.
    pub fn pull_offset(&self) -> f64 {
        self.pull_offset
    }

    /// Returns true with the given chance.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.dice.chance(probability)
    }

    /// Returns a number of `low..high`.
    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        self.dice.uniform(low, high)
    }
}
