//! Pulls that move one way only.

use baytrim_estimate::{FitSettings, PullContext, fit, read_pull};
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

/// Returns whether a pull of a simulated engine is told to go one way only.
fn goes_one_way(kind: PullKind, seed: u64) -> bool {
    let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
    let bay = BayOptions::from_seed(seed);
    let spec = truth.job_spec("cell".parse().expect("a name"));
    let pull = simulate(&truth, &truth.table.values, kind, seed, &bay);
    let trim = vec![0.0; truth.axes.node_count()];
    let context = PullContext::of_job(&spec, &trim);
    let evidence = read_pull(&pull.samples, &context)
        .expect("shapes fit")
        .evidence;
    let fitted = fit(&truth.axes, &[&evidence], &FitSettings::default()).expect("solvable");
    let told = fitted
        .summary
        .remarks
        .iter()
        .any(|remark| remark.contains("the same way"));
    assert_eq!(
        told,
        fitted.summary.calibration_factor >= 1.15,
        "seed {seed}"
    );
    told
}

/// If this fails, intervals from sweeps in one direction are narrower than they should be, or others needlessly wide.
#[test]
fn only_sweeps_in_one_direction_go_one_way() {
    for seed in 741..746 {
        assert!(goes_one_way(PullKind::Sweeps, seed), "seed {seed}");
        for kind in [
            PullKind::SweepsUpDown,
            PullKind::Mixed,
            PullKind::Ride,
            PullKind::Holds,
        ] {
            assert!(!goes_one_way(kind, seed), "{kind:?}, seed {seed}");
        }
    }
}
