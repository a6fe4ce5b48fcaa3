//! Simulated pulls: streaming, order, storage and accuracy.

use baytrim_estimate::nearest::NearestNode;
use baytrim_estimate::{FitSettings, LivePull, PullContext, PullEvidence, fit, read_pull};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::EvidenceKind;
use baytrim_model::gate::GateSettings;
use baytrim_model::samples::Samples;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

use crate::job::samples;

fn simulated(seed: u64, kind: PullKind) -> (EngineTruth, Samples) {
    let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
    let bay = BayOptions::default();
    let pull = simulate(&truth, &truth.table.values, kind, seed, &bay);
    (truth, pull.samples)
}

fn context_of<'a>(
    truth: &'a EngineTruth,
    zeros: &'a [f64],
    gates: &'a GateSettings,
) -> PullContext<'a> {
    PullContext {
        engine: &truth.engine,
        axes: &truth.axes,
        target_lambda: &truth.target_lambda,
        table: &truth.table,
        trim_in_force: zeros,
        gates,
        delay: DelayChoice::Identify,
        evidence: EvidenceKind::Lambda,
    }
}

/// Streaming must not change what is accepted, however the rows are cut into batches.
#[test]
fn batches_count_as_the_whole() {
    let (truth, pull) = simulated(3, PullKind::Sweeps);
    let (zeros, gates) = (vec![0.0; truth.axes.node_count()], GateSettings::default());
    let context = context_of(&truth, &zeros, &gates);
    let count = |size: usize| {
        let mut live = LivePull::new(&context).expect("shapes fit");
        let mut start = 0;
        while start < pull.len() {
            let end = (start + size).min(pull.len());
            let batch = samples(
                pull.offset_s[start..end].to_vec(),
                pull.channels
                    .iter()
                    .map(|(&quantity, column)| (quantity, column[start..end].to_vec()))
                    .collect(),
            );
            live.push(&batch).expect("columns fit");
            start = end;
        }
        live.finish();
        (
            live.accepted_count(),
            live.refused(),
            live.coverage().to_vec(),
        )
    };
    let whole = count(pull.len());
    for size in [1, 7, 100] {
        assert_eq!(count(size), whole, "in batches of {size}");
    }
    // A finished pull read with the same delay counts the same.
    let delay = baytrim_estimate::delay::prior(&truth.engine);
    let given = PullContext {
        delay: DelayChoice::Given(delay),
        ..context
    };
    let summary = read_pull(&pull, &given).expect("reads").summary;
    assert_eq!((summary.refused, summary.coverage), (whole.1, whole.2));
}

/// The same evidence must give the same answer, in any order of the pulls and after storage.
#[test]
fn order_and_storage_of_pulls_change_nothing() {
    let truth = EngineTruth::from_seed(5, &TruthOptions::default());
    let (zeros, gates) = (vec![0.0; truth.axes.node_count()], GateSettings::default());
    let context = context_of(&truth, &zeros, &gates);
    let evidence: Vec<PullEvidence> =
        [PullKind::Sweeps, PullKind::SweepsUpDown, PullKind::FuelStep]
            .into_iter()
            .enumerate()
            .map(|(seed, kind)| {
                let pull = simulate(
                    &truth,
                    &truth.table.values,
                    kind,
                    seed as u64,
                    &BayOptions::default(),
                );
                read_pull(&pull.samples, &context).expect("reads").evidence
            })
            .collect();
    let settings = FitSettings::default();
    let of = |order: [usize; 3]| {
        let pulls: Vec<&PullEvidence> = order.iter().map(|&pull| &evidence[pull]).collect();
        fit(&truth.axes, &pulls, &settings).expect("fits")
    };
    let first = of([0, 1, 2]);
    assert_eq!(first, of([0, 1, 2]), "same input, same bits");
    assert_eq!(first, of([2, 0, 1]), "another order");
    let text = serde_json::to_string(&evidence).expect("stores");
    let stored: Vec<PullEvidence> = serde_json::from_str(&text).expect("loads");
    assert_eq!(stored, evidence);
}

/// The product's reason to exist: less than half the error of nearest-node averaging, on engines that
/// nothing was tuned on, with intervals that hold what they promise.
#[test]
fn mixed_pulls_beat_nearest_node_averaging() {
    let mut squares = [0.0, 0.0];
    let (mut inside, mut count) = (0_u32, 0_u32);
    for seed in 301..305 {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let (zeros, gates) = (vec![0.0; truth.axes.node_count()], GateSettings::default());
        let context = context_of(&truth, &zeros, &gates);
        let mut nearest = NearestNode::new(truth.axes.node_count());
        let mut evidence = Vec::new();
        for pull in 0..2 {
            let pull = simulate(
                &truth,
                &truth.table.values,
                PullKind::Mixed,
                1000 * seed + pull,
                &BayOptions::default(),
            );
            nearest
                .add(&pull.samples, &context, false)
                .expect("shapes fit");
            evidence.push(read_pull(&pull.samples, &context).expect("reads").evidence);
        }
        let pulls: Vec<&PullEvidence> = evidence.iter().collect();
        let fitted = fit(&truth.axes, &pulls, &FitSettings::default()).expect("fits");
        let (theta, nearest) = (truth.theta_at_nodes(), nearest.theta());
        for node in 0..theta.len() {
            let (true, Some(mean)) = (fitted.visits[node] > 0, nearest[node]) else {
                continue;
            };
            let error = fitted.theta[node] - theta[node];
            squares[0] += error * error;
            squares[1] += (mean - theta[node]).powi(2);
            inside += u32::from(error.abs() <= 1.96 * fitted.standard_error[node]);
            count += 1;
        }
    }
    let (ratio, covered) = (
        (squares[0] / squares[1]).sqrt(),
        f64::from(inside) / f64::from(count),
    );
    assert!(
        count > 200 && ratio < 0.5,
        "ratio {ratio} over {count} nodes"
    );
    assert!(
        (0.85..=1.0).contains(&covered),
        "{covered} of the 95 % intervals hold the truth"
    );
}
