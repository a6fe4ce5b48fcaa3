//! A rider's hand on the roller, with a throttle whose drift and gain are known.

use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;

use crate::random::{Dice, Purpose};

/// A throttle by wire: what it does with the hand, and how well that is seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Throttle {
    /// Plate over grip at 4000 rpm, percent each, straight in between; from 0 to 100.
    pub curve: Vec<(f64, f64)>,
    /// Change of the plate over 1000 rpm where it is neither shut nor open, percent.
    pub drift_percent_per_1000_rpm: f64,
    /// Difference of the plate from one stay to the next, percent, one standard deviation.
    pub stay_percent: f64,
    /// Noise of a reading, percent.
    pub noise_percent: f64,
}

impl Throttle {
    /// Returns a throttle that suddenly opens between 20 and 30 % of grip and shuts by 0.4 % over 1000 rpm.
    pub fn uneven() -> Self {
        Self {
            curve: vec![
                (0.0, 0.0),
                (20.0, 10.0),
                (30.0, 30.0),
                (60.0, 55.0),
                (100.0, 100.0),
            ],
            drift_percent_per_1000_rpm: -0.4,
            stay_percent: 0.15,
            noise_percent: 0.1,
        }
    }

    /// Returns a throttle that follows the hand one for one, whatever the engine's speed.
    pub fn even() -> Self {
        Self {
            curve: vec![(0.0, 0.0), (100.0, 100.0)],
            drift_percent_per_1000_rpm: 0.0,
            ..Self::uneven()
        }
    }

    /// Returns the plate for a grip and an engine speed, percent.
    pub fn plate_percent(&self, grip_percent: f64, rpm: f64) -> f64 {
        let next = self
            .curve
            .partition_point(|(grip, _)| *grip <= grip_percent)
            .clamp(1, self.curve.len() - 1);
        let ((from, low), (to, high)) = (self.curve[next - 1], self.curve[next]);
        let still = low + (grip_percent - from) / (to - from) * (high - low);
        still + self.drift_percent_per_1000_rpm * (rpm - 4000.0) / 1000.0
    }
}

/// Places of the hand in [`hold`], percent of grip.
pub const PLACES_PERCENT: [f64; 7] = [10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 80.0];

/// Returns a pull in which the hand stands at each of [`PLACES_PERCENT`] `repeats` times for three seconds, while engine
/// speed rises from 3000 to 7000 rpm; 20 rows a second.
pub fn hold(throttle: &Throttle, repeats: usize, seed: u64) -> Samples {
    let mut dice = Dice::new(seed, Purpose::Logger);
    let mut samples = Samples::default();
    for _ in 0..repeats {
        for grip_percent in PLACES_PERCENT {
            let offset_percent = throttle.stay_percent * dice.normal();
            let offset_drift = 0.05 * dice.normal();
            for row in 0..60 {
                let rpm = 3000.0 + 4000.0 * f64::from(row) / 59.0;
                let true_percent = throttle.plate_percent(grip_percent, rpm);
                let plate = true_percent
                    + offset_percent
                    + offset_drift * (rpm - 5000.0) / 1000.0
                    + throttle.noise_percent * dice.normal();
                let mut put = |quantity, value: f64| {
                    samples.channels.entry(quantity).or_default().push(value);
                };
                put(Quantity::EngineSpeed, rpm);
                put(Quantity::PlateAngle, plate);
                put(Quantity::GripAngle, grip_percent);
                put(Quantity::Lambda, 0.95 + 0.004 * dice.normal());
                samples.offset_s.push(samples.offset_s.len() as f64 / 20.0);
            }
        }
    }
    samples
}
