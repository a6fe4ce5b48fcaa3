//! Readings that are lean for another reason than too little fuel.

use baytrim_estimate::{
    FalseLean, FitSettings, PullContext, Suspect, false_lean, fit_whole, read_pull,
};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::EvidenceKind;
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
    let gates = truth.job_spec("lean".parse().expect("a name")).gates;
    let context = PullContext {
        engine: &truth.engine,
        axes: &truth.axes,
        target_lambda: &truth.target_lambda,
        table: &truth.table,
        trim_in_force: &vec![0.0; truth.axes.node_count()],
        gates: &gates,
        delay: DelayChoice::Identify,
        evidence: EvidenceKind::Lambda,
    };
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
    for seed in [11, 12] {
        let sound = suspects(seed, |_, _| {});
        assert!(
            sound.iter().all(|found| found.probability < 0.5),
            "{sound:?}"
        );
        let lost = suspects(seed, |bay, pull| {
            if pull == 1 {
                bay.lost_cylinder_from_s = 100.0;
            }
        });
        let first = lost.first().expect("a suspicion");
        assert_eq!(first.cause, FalseLean::LostCylinder, "{lost:?}");
        assert!(first.probability > 0.95 && first.pull == Some(1));
        // One of four: lambda goes up by a third.
        assert!(
            (first.size.exp() - 4.0 / 3.0).abs() < 0.12,
            "{}",
            first.size
        );
        let at_s = first.at_s.expect("a moment");
        // Gates refuse the leanest readings, so the moment is told late rather than early.
        assert!(at_s > 75.0, "{at_s}");
        let blown = suspects(seed, |bay, pull| {
            if pull == 0 {
                bay.secondary_air_until_s = 90.0;
            }
        });
        let first = blown.first().expect("a suspicion");
        assert_eq!(first.cause, FalseLean::SecondaryAir, "{blown:?}");
        assert!(first.probability > 0.95 && !first.nodes.is_empty());
    }
}
