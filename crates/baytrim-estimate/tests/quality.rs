//! Checks of a pull as a whole: they find what they are for, and cry wolf at nothing else.
#![expect(clippy::print_stdout, reason = "prints the figures that it judges")]

use baytrim_estimate::{PullContext, read_pull};
use baytrim_model::bay::{DelayChoice, DelayModel};
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::gate::GateSettings;
use baytrim_model::samples::Samples;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::faults;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

const SEEDS: std::ops::Range<u64> = 501..513;

fn codes(truth: &EngineTruth, samples: &Samples) -> Vec<String> {
    let (zeros, gates) = (vec![0.0; truth.axes.node_count()], GateSettings::default());
    let context = PullContext {
        engine: &truth.engine,
        axes: &truth.axes,
        target_lambda: &truth.target_lambda,
        table: &truth.table,
        trim_in_force: &zeros,
        gates: &gates,
        delay: DelayChoice::Given(DelayModel {
            cycles: 1.0,
            gas_volume_l: 1.0,
            lag_s: 0.08,
        }),
        evidence: EvidenceKind::Lambda,
    };
    let warnings = read_pull(samples, &context)
        .expect("reads")
        .summary
        .warnings;
    warnings.into_iter().map(|warning| warning.code).collect()
}

fn pull(seed: u64, kind: PullKind) -> (EngineTruth, Samples) {
    let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
    let bay = BayOptions::from_seed(seed);
    let pull = simulate(&truth, &truth.table.values, kind, seed, &bay);
    (truth, pull.samples)
}

/// How many of twelve pulls get the code after a change to the log.
fn count(code: &str, kind: PullKind, change: impl Fn(&EngineTruth, &mut Samples, u64)) -> usize {
    let found = SEEDS
        .filter(|&seed| {
            let (truth, mut samples) = pull(seed, kind);
            change(&truth, &mut samples, seed);
            codes(&truth, &samples).iter().any(|found| found == code)
        })
        .count();
    println!("{code:20} {kind:?}: {found} of 12");
    found
}

/// Warnings at good logs would teach people to look past them.
#[test]
fn good_logs_are_not_warned_about() {
    let mut wolves = Vec::new();
    for kind in [
        PullKind::Holds,
        PullKind::Sweeps,
        PullKind::SweepsUpDown,
        PullKind::Ride,
        PullKind::Mixed,
    ] {
        for seed in SEEDS {
            let (truth, samples) = pull(seed, kind);
            let found = codes(&truth, &samples);
            if !found.is_empty() {
                wolves.push(format!("{kind:?} {seed}: {found:?}"));
            }
        }
    }
    assert!(wolves.is_empty(), "{wolves:?}");
}

/// Lambda of another log would be fitted as if it were this engine's.
#[test]
fn lambda_of_another_log_is_noticed() {
    for kind in [PullKind::Ride, PullKind::Mixed] {
        let found = count("lambda_unrelated", kind, |_, samples, seed| {
            let (_, other) = pull(seed + 1000, kind);
            let theirs = other.channel(Quantity::Lambda).expect("logged");
            let rows = samples.len();
            let lambda =
                (0..rows).map(|row| theirs[(row * theirs.len() / rows + 137) % theirs.len()]);
            samples.channels.insert(Quantity::Lambda, lambda.collect());
        });
        assert!(found >= 6, "{kind:?}: {found} of 12");
    }
}

/// A meter that buffers would shift every reading to another node.
#[test]
fn lambda_that_comes_seconds_late_is_noticed() {
    let found = count("lambda_slow", PullKind::Ride, |_, samples, _| {
        let interval_s = samples.offset_s[samples.len() - 1] / samples.len() as f64;
        let rows = (5.0 / interval_s).round();
        let rows = (0..samples.len())
            .find(|&row| row as f64 >= rows)
            .unwrap_or(0);
        faults::late(samples, Quantity::Lambda, rows);
    });
    assert!(found >= 10, "{found} of 12");
}

/// A dead sensor, a wrong unit and another vehicle's log would each be tuned to.
#[test]
fn dead_sensors_and_other_vehicles_are_noticed() {
    let dead = count("lambda_dead", PullKind::Ride, |_, samples, _| {
        let rows = samples.len();
        faults::stuck(samples, Quantity::Lambda, 0..rows);
        samples.channels.insert(Quantity::Lambda, vec![1.0; rows]);
    });
    assert_eq!(dead, 12);
    let faster = count("other_vehicle", PullKind::Ride, |_, samples, _| {
        faults::scale(samples, Quantity::EngineSpeed, 2.5);
    });
    assert!(faster >= 10, "{faster} of 12");
    let slower = count("other_vehicle", PullKind::Ride, |_, samples, _| {
        faults::scale(samples, Quantity::EngineSpeed, 1.0 / 60.0);
    });
    assert_eq!(slower, 12, "revolutions a second");
    let level = count("lambda_level", PullKind::Ride, |_, samples, _| {
        faults::scale(samples, Quantity::Lambda, 14.7 / 9.0);
    });
    assert!(
        level >= 11,
        "petrol's ratio on an alcohol's log: {level} of 12"
    );
    let trims = count("trims_not_counted", PullKind::Ride, |_, samples, _| {
        let rows = samples.len();
        samples
            .channels
            .insert(Quantity::LongTermTrim, vec![4.0; rows]);
    });
    assert_eq!(trims, 12);
}
