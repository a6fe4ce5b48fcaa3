//! Where the plate stands for each place of the hand: its drift with engine speed, its gain.
//!
//! The stay is the unit of replication: rows of one stay are far from independent.

use std::collections::BTreeMap;

use baytrim_power::student::quantile;

use crate::stay::Stay;

/// A mean over stays.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The mean.
    pub value: f64,
    /// Its 95 % interval by Student's t over stays, none of a single one.
    pub interval: Option<(f64, f64)>,
    /// Stays behind it.
    pub stay_count: usize,
}

/// What the plate does at one place of the hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GripPoint {
    /// Mean grip, percent.
    pub grip_percent: f64,
    /// Plate, percent.
    pub plate_percent: Estimate,
    /// Change of the plate over 1000 rpm while the hand stands, percent; none where no stay swept
    /// engine speed.
    pub drift_percent_per_1000_rpm: Option<Estimate>,
}

/// How far the plate goes for a percent of grip, between two places.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gain {
    /// From this grip, percent.
    pub from_grip_percent: f64,
    /// To this one.
    pub to_grip_percent: f64,
    /// Percent of plate a percent of grip.
    pub gain: f64,
    /// Its 95 % interval, none where an end is known from a single stay.
    pub interval: Option<(f64, f64)>,
    /// The gain over that from the first place to the last: 1 where the plate follows evenly. None where the plate
    /// does not open from the first to the last.
    pub over_mean: Option<Estimate>,
}

/// How the plate follows the hand in one riding mode.
#[derive(Debug, Clone, PartialEq)]
pub struct Delivery {
    /// Places of the hand, least grip first.
    pub points: Vec<GripPoint>,
    /// Between neighbours of them.
    pub gains: Vec<Gain>,
}

/// Returns how the plate followed the hand over `stays` of one riding mode, gathered around whole multiples
/// of `grip_step_percent`.
///
/// # Panics
/// Where the step is not above 0.
pub fn delivery(stays: &[Stay], grip_step_percent: f64) -> Delivery {
    assert!(grip_step_percent > 0.0, "a step of the grip has a size");
    let mut places: BTreeMap<i64, Vec<Stay>> = BTreeMap::new();
    for stay in stays {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "percent are far below 2^63"
        )]
        let place = (stay.grip_percent / grip_step_percent).round() as i64;
        places.entry(place).or_default().push(*stay);
    }
    let points: Vec<GripPoint> = places.values().map(|stays| point(stays)).collect();
    let near = 0.5 * grip_step_percent;
    let apart = |at: &usize| points[at + 1].grip_percent - points[*at].grip_percent >= near;
    let gains = (0..points.len().saturating_sub(1)).filter(apart);
    let gains = gains.map(|at| gain(&points, at)).collect();
    Delivery { points, gains }
}

impl Delivery {
    /// Returns the largest gain over the middle one: 1 where the plate follows evenly. None with fewer
    /// than three gains.
    pub fn unevenness(&self) -> Option<f64> {
        let mut gains: Vec<f64> = self.gains.iter().map(|gain| gain.gain).collect();
        gains.sort_by(f64::total_cmp);
        let largest = gains.last().filter(|_| gains.len() >= 3)?;
        let middle = gains[gains.len() / 2];
        (middle > 0.0).then_some(largest / middle)
    }
}

fn point(stays: &[Stay]) -> GripPoint {
    let grips: Vec<f64> = stays.iter().map(|stay| stay.grip_percent).collect();
    let plates: Vec<f64> = stays.iter().map(|stay| stay.plate_percent).collect();
    let drifts: Vec<f64> = stays
        .iter()
        .filter_map(|stay| stay.drift_percent_per_1000_rpm)
        .collect();
    GripPoint {
        grip_percent: grips.iter().sum::<f64>() / grips.len() as f64,
        plate_percent: estimate(&plates),
        drift_percent_per_1000_rpm: (!drifts.is_empty()).then(|| estimate(&drifts)),
    }
}

/// Returns the mean of `values` with its interval; none of none.
pub fn mean_of(values: &[f64]) -> Option<Estimate> {
    (!values.is_empty()).then(|| estimate(values))
}

fn estimate(values: &[f64]) -> Estimate {
    let count = values.len() as f64;
    let value = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|one| (one - value).powi(2)).sum();
    let half = (values.len() > 1)
        .then(|| quantile(0.975, count - 1.0) * (squares / (count - 1.0) / count).sqrt());
    Estimate {
        value,
        interval: half.map(|half| (value - half, value + half)),
        stay_count: values.len(),
    }
}

/// Half intervals of the ends go together as the root of their squares.
fn gain(points: &[GripPoint], at: usize) -> Gain {
    let (from, to) = (&points[at], &points[at + 1]);
    let grip = to.grip_percent - from.grip_percent;
    let gain = (to.plate_percent.value - from.plate_percent.value) / grip;
    let half = |point: &GripPoint| {
        point
            .plate_percent
            .interval
            .map(|(low, high)| 0.5 * (high - low))
    };
    let both = half(from).zip(half(to)).map(|(a, b)| a.hypot(b) / grip);
    Gain {
        from_grip_percent: from.grip_percent,
        to_grip_percent: to.grip_percent,
        gain,
        interval: both.map(|half| (gain - half, gain + half)),
        over_mean: over_mean(points, at, gain),
    }
}

/// The ratio is linear in the plate at each place to first order, its mean in the ends alone:
/// `d(ratio) = (d(gain) - ratio d(mean)) / mean`.
fn over_mean(points: &[GripPoint], at: usize, gain: f64) -> Option<Estimate> {
    let last = points.len() - 1;
    let grip = |from: usize, to: usize| points[to].grip_percent - points[from].grip_percent;
    let plate = |point: usize| points[point].plate_percent.value;
    let mean = (plate(last) - plate(0)) / grip(0, last);
    if mean <= 0.0 {
        return None;
    }
    let value = gain / mean;
    let mut weights = vec![0.0; points.len()];
    weights[at + 1] += 1.0 / grip(at, at + 1);
    weights[at] -= 1.0 / grip(at, at + 1);
    weights[last] -= value / grip(0, last);
    weights[0] += value / grip(0, last);
    let involved = || {
        points
            .iter()
            .zip(&weights)
            .filter(|(_, weight)| **weight != 0.0)
    };
    let halves = involved().map(|(point, weight)| {
        let (low, high) = point.plate_percent.interval?;
        Some((0.5 * (high - low) * weight).powi(2))
    });
    let half = halves
        .sum::<Option<f64>>()
        .map(|squares| squares.sqrt() / mean);
    Some(Estimate {
        value,
        interval: half.map(|half| (value - half, value + half)),
        stay_count: involved()
            .map(|(point, _)| point.plate_percent.stay_count)
            .sum(),
    })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use baytrim_model::channel::Quantity;
    use baytrim_model::samples::Samples;

    use super::*;
    use crate::stay::{StayRules, stays};

    /// A ride whose truth is known: plate = grip^2 / 100 less 0.4 percent for each 1000 rpm above 4000, the hand
    /// standing at six places three times each while engine speed rises by 3000 rpm.
    fn ride() -> Samples {
        let (mut offset_s, mut grip, mut plate, mut rpm) = (vec![], vec![], vec![], vec![]);
        for repeat in 0..3 {
            for place in 1..=6 {
                for row in 0..200 {
                    let hand = 10.0 * f64::from(place);
                    let speed = 4000.0 + 15.0 * f64::from(row);
                    let noise =
                        0.05 * f64::from((row * 7 + place * 3 + repeat * 11) % 13 - 6) / 6.0;
                    offset_s.push(offset_s.len() as f64 / 50.0);
                    grip.push(hand);
                    rpm.push(speed);
                    plate.push(hand * hand / 100.0 - 0.4 * (speed - 4000.0) / 1000.0 + noise);
                }
            }
        }
        Samples {
            offset_s,
            channels: BTreeMap::from([
                (Quantity::GripAngle, grip),
                (Quantity::PlateAngle, plate),
                (Quantity::EngineSpeed, rpm),
            ]),
        }
    }

    /// If this fails, a plate that is closed by electronics as engine speed rises passes unnoticed, or its
    /// intervals do not hold the truth of the ride.
    #[test]
    fn drift_and_gain_of_a_known_ride_are_found() {
        let found = delivery(&stays(&ride(), &StayRules::default()), 5.0);
        assert_eq!(found.points.len(), 6);
        for point in &found.points {
            assert_eq!(point.plate_percent.stay_count, 3);
            let drift = point.drift_percent_per_1000_rpm.unwrap();
            assert!((drift.value + 0.4).abs() < 0.02, "{drift:?}");
            let (low, high) = drift.interval.unwrap();
            assert!(low <= -0.39 && (-0.41..0.0).contains(&high), "{drift:?}");
        }
        for (place, gain) in (1_u8..).zip(&found.gains) {
            let truth = 0.1 * f64::from(2 * place + 1);
            assert!((gain.gain - truth).abs() < 0.02, "{gain:?} {truth}");
        }
        assert!((found.unevenness().unwrap() - 1.1 / 0.7).abs() < 0.05);
    }

    /// If this fails, one stay passes for a repeated measurement.
    #[test]
    fn one_stay_has_no_interval() {
        let stay = Stay {
            grip_percent: 20.0,
            plate_percent: 8.0,
            rpm: 4000.0,
            drift_percent_per_1000_rpm: None,
        };
        let found = delivery(&[stay], 5.0);
        assert_eq!(found.points[0].plate_percent.interval, None);
        assert_eq!(found.points[0].drift_percent_per_1000_rpm, None);
    }
}
