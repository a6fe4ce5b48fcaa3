//! The cut on the overrun, found in logs of simulated engines whose control unit is known.

use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;
use baytrim_rider::{OverrunCut, overrun_cut};
use baytrim_testkit::bay::{BayOptions, SensorPlace};
use baytrim_testkit::drive::Path;
use baytrim_testkit::faults;
use baytrim_testkit::simulate::simulate_path;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

const SEEDS: std::ops::Range<u64> = 901..925;

/// Four overruns from seven eighths of the limiter's speed to 1600 rpm, in eight seconds each, from a bay drawn
/// from the seed and without its flags.
fn log(truth: &EngineTruth, seed: u64) -> Samples {
    let fast = 0.875 * truth.ecu.limiter_rpm;
    let mut path = Path::default();
    for _ in 0..4 {
        path.move_to(fast, 40.0, 1.0);
        path.hold(fast, 40.0, 1.5);
        path.move_to(fast, 0.0, 0.1);
        path.sweep_to(1600.0, 8.0);
    }
    let bay = BayOptions::from_seed(seed);
    let mut samples = simulate_path(truth, &truth.table.values, &path, seed, &bay).samples;
    faults::forget(&mut samples, Quantity::FuelCut);
    samples
}

fn found(seed: u64, change: impl Fn(&mut EngineTruth)) -> (EngineTruth, OverrunCut) {
    let mut truth = EngineTruth::from_seed(seed, &TruthOptions::default());
    change(&mut truth);
    let cut = overrun_cut(&log(&truth, seed));
    (truth, cut)
}

/// The engine slows by some 700 rpm a second while gas comes to the sensor, so that fuel is seen to come back at a
/// lower speed: at most by so much, and never at a higher one.
const LATE_RPM: f64 = 900.0;
const EARLY_RPM: f64 = 100.0;

/// Gas takes up to four seconds to a sensor in the tailpipe on the overrun: with some it is left open, and with no
/// other, what decides.
fn are_slow(unclear_seeds: &[u64]) {
    for seed in unclear_seeds {
        let bay = BayOptions::from_seed(*seed);
        assert_eq!(bay.place, SensorPlace::Tailpipe, "seed {seed}");
    }
    assert!(unclear_seeds.len() <= 3, "{unclear_seeds:?}");
}

/// If this fails, a control unit that cuts fuel passes for one that does not, or comes back at another speed.
#[test]
fn a_cut_is_found_without_its_flag() {
    let mut unclear_seeds = Vec::new();
    for seed in SEEDS {
        let (truth, cut) = found(seed, |_| {});
        let resume_rpm = truth.ecu.resume_rpm;
        match cut {
            OverrunCut::On {
                resumes_rpm: Some((low, high)),
            }
            | OverrunCut::Above {
                between_rpm: (low, high),
            } => assert!(
                low >= resume_rpm - LATE_RPM && high <= resume_rpm + EARLY_RPM,
                "seed {seed}: {cut:?} for {resume_rpm}"
            ),
            OverrunCut::On { resumes_rpm: None } => {
                assert!(resume_rpm < 1600.0 + LATE_RPM, "seed {seed}: {resume_rpm}");
            }
            OverrunCut::Unclear => unclear_seeds.push(seed),
            other => panic!("seed {seed}: {other:?}"),
        }
    }
    are_slow(&unclear_seeds);
}

/// If this fails, a cut that was taken out passes for one that is there.
#[test]
fn a_cut_that_was_taken_out_is_found_so() {
    for seed in SEEDS {
        let (_, cut) = found(seed, |truth| truth.ecu.overrun_cut = false);
        assert_eq!(cut, OverrunCut::Off, "seed {seed}");
    }
}

/// If this fails, a cut that was kept at high speed only passes for an ordinary one.
#[test]
fn a_cut_kept_above_a_speed_is_found_so() {
    let mut unclear_seeds = Vec::new();
    for seed in SEEDS {
        let (truth, cut) = found(seed, |truth| {
            truth.ecu.overrun_rpm = 5200.0;
            truth.ecu.resume_rpm = 5000.0;
        });
        if 0.875 * truth.ecu.limiter_rpm < 6500.0 {
            assert!(
                !matches!(cut, OverrunCut::On { .. }),
                "seed {seed}: {cut:?}"
            );
            continue;
        }
        match cut {
            OverrunCut::Above {
                between_rpm: (low, high),
            } => assert!(
                low >= 5000.0 - LATE_RPM && high <= 5000.0 + EARLY_RPM,
                "seed {seed}: {cut:?}"
            ),
            OverrunCut::Unclear => unclear_seeds.push(seed),
            other => panic!("seed {seed}: {other:?}"),
        }
    }
    are_slow(&unclear_seeds);
}
