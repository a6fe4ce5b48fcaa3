//! Where a pull is driven: speed, plate and gear changes over time.

mod holds;
mod ride;
mod sweeps;

use crate::random::{Dice, Purpose};
use crate::truth::EngineTruth;

/// Time step of a path in seconds.
pub const PATH_STEP_S: f64 = 0.01;

/// What kind of pull is driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PullKind {
    /// Steady holds on a grid of speeds and plates, with moves between: about eight minutes.
    Holds,
    /// Ten fast sweeps over the whole speed range at fixed plates, upwards only, each ended by an overrun.
    Sweeps,
    /// The same sweeps, each up and down again.
    SweepsUpDown,
    /// Ten minutes as on the road: part throttle, gear changes, overruns, few settled seconds.
    Ride,
    /// Five minutes of some holds, some sweeps and some riding.
    Mixed,
    /// Holds with deliberate fuel steps of 8 % up and down, logged as a short-term trim.
    FuelStep,
}

impl PullKind {
    /// Every kind.
    pub const ALL: [Self; 6] = [
        Self::Holds,
        Self::Sweeps,
        Self::SweepsUpDown,
        Self::Ride,
        Self::Mixed,
        Self::FuelStep,
    ];
}

/// A path through the engine's operating range, in steps of [`PATH_STEP_S`].
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Path {
    /// Engine speed, rpm.
    pub rpm: Vec<f64>,
    /// Plate opening, percent.
    pub plate_percent: Vec<f64>,
    /// Whether a gear change cuts the torque.
    pub shift: Vec<bool>,
    /// Log of a deliberate fuel factor on top of the table.
    pub fuel_step_log: Vec<f64>,
}

impl Path {
    /// Returns the number of steps.
    pub fn len(&self) -> usize {
        self.rpm.len()
    }

    /// Returns whether there are none.
    pub fn is_empty(&self) -> bool {
        self.rpm.is_empty()
    }

    /// Returns the length of the path in seconds.
    pub fn duration_s(&self) -> f64 {
        self.len().saturating_sub(1) as f64 * PATH_STEP_S
    }

    /// Returns (rpm, plate percent) at a time; before and after the path its ends hold.
    pub fn at(&self, now_s: f64) -> (f64, f64) {
        let last = self.len() - 1;
        let place = (now_s / PATH_STEP_S).clamp(0.0, last as f64);
        let below = self.index(now_s);
        let above = (below + 1).min(last);
        let share = place - below as f64;
        let mix = |values: &[f64]| values[below] + share * (values[above] - values[below]);
        (mix(&self.rpm), mix(&self.plate_percent))
    }

    /// Returns the step at or before a time.
    pub fn index(&self, now_s: f64) -> usize {
        let place = now_s / PATH_STEP_S + 1e-9;
        self.len().saturating_sub(1).min(floor_index(place))
    }

    fn push(&mut self, rpm: f64, plate_percent: f64) {
        self.rpm.push(rpm);
        self.plate_percent.push(plate_percent);
        self.shift.push(false);
        self.fuel_step_log.push(0.0);
    }

    /// Holds a place for some seconds.
    pub fn hold(&mut self, rpm: f64, plate_percent: f64, duration_s: f64) {
        for _ in 0..step_count(duration_s) {
            self.push(rpm, plate_percent);
        }
    }

    /// Moves smoothly from where the path ends to another place.
    pub fn move_to(&mut self, rpm: f64, plate_percent: f64, duration_s: f64) {
        let from = (
            self.rpm.last().copied().unwrap_or(rpm),
            self.plate_percent.last().copied().unwrap_or(plate_percent),
        );
        let count = step_count(duration_s);
        for step in 1..=count {
            let share = step as f64 / count as f64;
            let smooth = share * share * (3.0 - 2.0 * share);
            self.push(
                from.0 + smooth * (rpm - from.0),
                from.1 + smooth * (plate_percent - from.1),
            );
        }
    }

    /// Moves the speed evenly to `rpm` with the plate as it is.
    pub fn sweep_to(&mut self, rpm: f64, duration_s: f64) {
        let from = self.rpm.last().copied().unwrap_or(rpm);
        let plate = self.plate_percent.last().copied().unwrap_or(0.0);
        let count = step_count(duration_s);
        for step in 1..=count {
            let share = step as f64 / count as f64;
            self.push(from + share * (rpm - from), plate);
        }
    }

    /// Appends another path.
    pub fn extend(&mut self, other: Self) {
        self.rpm.extend(other.rpm);
        self.plate_percent.extend(other.plate_percent);
        self.shift.extend(other.shift);
        self.fuel_step_log.extend(other.fuel_step_log);
    }

    /// Lets speed and plate hunt a little, as no engine stands still; a plate on its stop stays.
    fn hunt(&mut self, dice: &mut Dice) {
        let (mut speed, mut plate) = (Wander::new(0.4), Wander::new(0.8));
        for index in 0..self.len() {
            self.rpm[index] *= 1.0 + 0.003 * speed.next(dice);
            let hunted = self.plate_percent[index] * (1.0 + 0.005 * plate.next(dice));
            if self.plate_percent[index] > 0.5 && self.plate_percent[index] < 99.0 {
                self.plate_percent[index] = hunted.min(100.0);
            }
        }
    }
}

/// A smooth random wander of mean 0 and standard deviation 1: a first-order process behind a
/// first-order lag, so that it has a rate.
#[derive(Debug, Clone, Copy)]
struct Wander {
    memory_s: f64,
    rough: f64,
    smooth: f64,
}

impl Wander {
    fn new(memory_s: f64) -> Self {
        Self {
            memory_s,
            rough: 0.0,
            smooth: 0.0,
        }
    }

    fn next(&mut self, dice: &mut Dice) -> f64 {
        let keep = libm::exp(-PATH_STEP_S / self.memory_s);
        self.rough = keep * self.rough + libm::sqrt(1.0 - keep * keep) * dice.normal();
        // Two equal time constants halve the variance.
        let aim = std::f64::consts::SQRT_2 * self.rough;
        self.smooth += (1.0 - keep) * (aim - self.smooth);
        self.smooth
    }
}

/// Returns a non-negative number's whole part as an index.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the number is clamped to what an index holds"
)]
fn floor_index(place: f64) -> usize {
    place.clamp(0.0, 1e12) as usize
}

fn step_count(duration_s: f64) -> usize {
    floor_index(libm::round(duration_s / PATH_STEP_S)).max(1)
}

/// Returns the path of a pull.
pub fn path(truth: &EngineTruth, kind: PullKind, seed: u64) -> Path {
    let mut dice = Dice::new(seed, Purpose::Drive);
    let mut path = match kind {
        PullKind::Holds => holds::grid(truth, &mut dice, 8, 9),
        PullKind::Sweeps => sweeps::sweeps(truth, &mut dice, 10, false),
        PullKind::SweepsUpDown => sweeps::sweeps(truth, &mut dice, 10, true),
        PullKind::Ride => ride::ride(truth, &mut dice, 600.0),
        PullKind::Mixed => {
            let mut path = holds::scattered(truth, &mut dice, 18);
            path.extend(sweeps::sweeps(truth, &mut dice, 5, true));
            path.extend(ride::ride(truth, &mut dice, 120.0));
            path
        }
        PullKind::FuelStep => holds::fuel_steps(truth, &mut dice),
    };
    path.hunt(&mut dice);
    path
}
