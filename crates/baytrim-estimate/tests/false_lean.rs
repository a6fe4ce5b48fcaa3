//! Readings that are lean for another reason than too little fuel.

use baytrim_estimate::{
    FalseLean, FitSettings, PullContext, Suspect, false_lean, fit_whole, read_pull,
};
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

/// Returns the suspicions about three pulls; `break_it` puts a fault into each.
fn suspects(seed: u64, break_it: fn(&mut BayOptions, u64)) -> Vec<Suspect> {
    let options = TruthOptions {
        cylinders: Some(4),
        ..TruthOptions::default()
    };
    let truth = EngineTruth::from_seed(seed, &options);
    let spec = truth.job_spec("lean".parse().expect("a name"));
    let trim = vec![0.0; truth.axes.node_count()];
    let context = PullContext::of_job(&spec, &trim);
    let pulls: Vec<_> = (0..3)
        .map(|pull| {
            let mut bay = BayOptions::from_seed(seed);
            break_it(&mut bay, pull);
            let log = simulate(
                &truth,
                &truth.table.values,
                PullKind::Mixed,
                seed * 10 + pull,
                &bay,
            );
            let reading = read_pull(&log.samples, &context).expect("shapes fit");
            reading.evidence
        })
        .collect();
    let pulls: Vec<_> = pulls.iter().collect();
    let settings = FitSettings::default();
    let (_, posterior) = fit_whole(&truth.axes, &pulls, &settings).expect("solvable");
    false_lean(&context, &pulls, &posterior).expect("shapes fit")
}

/// If this fails, a proposal enriches an engine that lacks no fuel, or leaves one lean that does.
#[test]
fn faults_are_told_from_needs() {
    let (mut lost, mut blown) = (0, 0);
    for seed in 11..15 {
        let sound = suspects(seed, |_, _| {});
        let told = sound.iter().find(|found| found.probability >= 0.5);
        assert!(told.is_none(), "{told:?}");
        let found = suspects(seed, |bay, pull| {
            if pull == 1 {
                bay.lost_cylinder_from_s = 100.0;
            }
        });
        let first = found.first().filter(|first| first.probability > 0.95);
        if let Some(first) = first {
            assert_eq!(first.cause, FalseLean::LostCylinder, "{found:?}");
            assert_eq!(first.pull, Some(1));
            // One of four: lambda goes up by a third.
            assert!((first.size.exp() - 4.0 / 3.0).abs() < 0.12, "{first:?}");
            // A moment is told where one stay ends and another begins; stays last up to a few seconds.
            let at_s = first.at_s.expect("a moment");
            assert!((at_s - 100.0).abs() < 15.0, "{first:?}");
            lost += 1;
        }
        let found = suspects(seed, |bay, pull| {
            if pull == 0 {
                bay.secondary_air_until_s = 90.0;
            }
        });
        let first = found.first().filter(|first| first.probability > 0.95);
        if let Some(first) = first {
            assert_eq!(first.cause, FalseLean::SecondaryAir, "{found:?}");
            assert!(!first.nodes.is_empty());
            blown += 1;
        }
    }
    assert!(lost >= 3 && blown >= 3, "{lost} lost, {blown} blown");
}
