//! Drift and gain of throttles that are known, over many seeds.

use baytrim_rider::{Delivery, GRIP_STEP_PERCENT, StayRules, delivery, mean_of, stays};
use baytrim_testkit::hand::{PLACES_PERCENT, Throttle, hold};

const SEEDS: std::ops::Range<u64> = 0..200;

fn found(throttle: &Throttle, seed: u64) -> (Delivery, (f64, f64)) {
    let stays = stays(&hold(throttle, 4, seed), &StayRules::default());
    let drifts: Vec<f64> = stays
        .iter()
        .filter_map(|stay| stay.drift_percent_per_1000_rpm)
        .collect();
    let drift = mean_of(&drifts).and_then(|drift| drift.interval);
    (
        delivery(&stays, GRIP_STEP_PERCENT),
        drift.unwrap_or((f64::NAN, f64::NAN)),
    )
}

fn holds((low, high): (f64, f64), truth: f64) -> f64 {
    f64::from(u8::from(low <= truth && truth <= high))
}

/// If this fails, an interval of 95 % holds the truth less often than it says, or is so wide that it says nothing:
/// plate, drift, gain and gain over the mean of two throttles over 200 seeds each.
#[test]
fn intervals_hold_the_truth_at_their_rate() {
    for throttle in [Throttle::uneven(), Throttle::even()] {
        let mut rates: [Vec<f64>; 4] = Default::default();
        for seed in SEEDS {
            let (found, drift) = found(&throttle, seed);
            assert_eq!(found.points.len(), PLACES_PERCENT.len());
            rates[0].push(holds(drift, throttle.drift_percent_per_1000_rpm));
            // Stays leave out their first 0.3 s, so that their mean speed is above the middle one.
            let rpm = 3000.0 + 4000.0 * (59.0 + 6.0) / 2.0 / 59.0;
            let plate = |place: usize| throttle.plate_percent(PLACES_PERCENT[place], rpm);
            let mean = (plate(6) - plate(0)) / (PLACES_PERCENT[6] - PLACES_PERCENT[0]);
            for (place, point) in found.points.iter().enumerate() {
                let interval = point.plate_percent.interval.expect("four stays");
                rates[1].push(holds(interval, plate(place)));
            }
            for (place, gain) in found.gains.iter().enumerate() {
                let way = PLACES_PERCENT[place + 1] - PLACES_PERCENT[place];
                let truth = (plate(place + 1) - plate(place)) / way;
                rates[2].push(holds(gain.interval.expect("four stays"), truth));
                let over = gain.over_mean.and_then(|over| over.interval);
                rates[3].push(holds(over.expect("it opens"), truth / mean));
            }
        }
        let rate = |hits: &Vec<f64>| hits.iter().sum::<f64>() / hits.len() as f64;
        let [drift, plate, gain, over] = [0, 1, 2, 3].map(|index| rate(&rates[index]));
        assert!((0.90..=0.99).contains(&drift), "drift {drift}");
        assert!((0.93..=0.97).contains(&plate), "plate {plate}");
        assert!((0.94..=1.0).contains(&gain), "gain {gain}");
        assert!((0.94..=1.0).contains(&over), "over the mean {over}");
    }
}
