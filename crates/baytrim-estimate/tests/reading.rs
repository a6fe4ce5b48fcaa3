//! Reading pulls and fitting them, from the outside.

use std::collections::BTreeMap;

use baytrim_estimate::nearest::NearestNode;
use baytrim_estimate::{
    FitSettings, LivePull, PullContext, PullEvidence, fit, judge_rows, lambda_points, read_pull,
};
use baytrim_model::axis::{Axes, Axis};
use baytrim_model::bay::{DelayChoice, DelayModel};
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::engine::Engine;
use baytrim_model::gate::{GateName, GateSettings};
use baytrim_model::samples::Samples;
use baytrim_model::table::{BaseTable, TableContent};
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};
use proptest::prelude::*;

/// A small job of plain facts.
struct Job {
    engine: Engine,
    axes: Axes,
    target: Vec<f64>,
    table: BaseTable,
    trim: Vec<f64>,
    gates: GateSettings,
}

impl Job {
    fn new() -> Self {
        let axes = Axes {
            rpm: Axis::new("rpm", vec![1000.0, 2500.0, 4000.0, 6000.0, 9000.0]).expect("sorted"),
            plate_percent: Axis::new("plate", vec![0.0, 5.0, 20.0, 50.0, 100.0]).expect("sorted"),
        };
        let nodes = axes.node_count();
        Self {
            engine: Engine {
                strokes: 4,
                displacement_cc: 650.0,
                cylinders: 2,
            },
            axes,
            target: vec![0.9; nodes],
            table: BaseTable {
                content: TableContent::Factor,
                resolution: 0.001,
                values: vec![1.0; nodes],
            },
            trim: vec![0.0; nodes],
            gates: GateSettings::default(),
        }
    }

    fn context(&self, evidence: EvidenceKind) -> PullContext<'_> {
        PullContext {
            engine: &self.engine,
            axes: &self.axes,
            target_lambda: &self.target,
            table: &self.table,
            trim_in_force: &self.trim,
            gates: &self.gates,
            delay: DelayChoice::Given(DelayModel {
                cycles: 1.0,
                gas_volume_l: 1.0,
                lag_s: 0.08,
            }),
            evidence,
        }
    }
}

fn samples(offset_s: Vec<f64>, channels: Vec<(Quantity, Vec<f64>)>) -> Samples {
    Samples {
        offset_s,
        channels: channels.into_iter().collect::<BTreeMap<_, _>>(),
    }
}

/// A hold at a node: `rows` rows at 50 Hz with one lambda.
fn hold(rows: usize, lambda: f64) -> Samples {
    samples(
        (0..rows).map(|row| row as f64 * 0.02).collect(),
        vec![
            (Quantity::EngineSpeed, vec![4000.0; rows]),
            (Quantity::PlateAngle, vec![20.0; rows]),
            (Quantity::Lambda, vec![lambda; rows]),
        ],
    )
}

/// A steady hold 10 % lean must ask for 10 % fuel at its node, and a trim in force must be added to it.
#[test]
fn a_steady_hold_tells_its_node() {
    let mut job = Job::new();
    let node = job.axes.find(4000.0, 20.0).expect("a node");
    for (trim, wanted) in [(0.0, 1.1_f64.ln()), (0.05, 1.1_f64.ln() + 0.05)] {
        job.trim.fill(trim);
        let reading =
            read_pull(&hold(1000, 0.99), &job.context(EvidenceKind::Lambda)).expect("reads");
        let fitted = fit(&job.axes, &[&reading.evidence], &FitSettings::default()).expect("fits");
        // One visit with an offset of its own leaves the prior some say.
        assert!(
            (fitted.theta[node] - wanted).abs() < 0.01,
            "{} for {wanted}",
            fitted.theta[node]
        );
        assert!(fitted.standard_error[node] < 0.02);
        assert_eq!(fitted.visits[node], 1);
        assert!(fitted.dwell_s[node] > 15.0 && fitted.measured_fraction[node] > 0.8);
        let far = job.axes.find(9000.0, 100.0).expect("a node");
        assert!(
            fitted.standard_error[far] > 0.05,
            "a node nobody went to is unsure"
        );
        assert!(fitted.dwell_s[far] < 1e-9 && fitted.visits[far] == 0);
    }
}

/// Closed-loop trims alone are the need: 6 % short-term and 2 % long-term ask for 8 % more fuel.
#[test]
fn trims_alone_are_evidence() {
    let job = Job::new();
    let mut pull = hold(1000, 0.9);
    pull.channels
        .insert(Quantity::ShortTermTrim, vec![6.0; 1000]);
    pull.channels
        .insert(Quantity::LongTermTrim, vec![2.0; 1000]);
    let node = job.axes.find(4000.0, 20.0).expect("a node");
    for evidence in [EvidenceKind::Trims, EvidenceKind::LambdaAndTrims] {
        let reading = read_pull(&pull, &job.context(evidence)).expect("reads");
        let fitted = fit(&job.axes, &[&reading.evidence], &FitSettings::default()).expect("fits");
        let wanted = (1.06_f64 * 1.02).ln();
        assert!(
            (fitted.theta[node] - wanted).abs() < 0.01,
            "{evidence:?} {}",
            fitted.theta[node]
        );
    }
}

/// A pull that nothing can be learnt from must say why and what to do, not fail.
#[test]
fn a_pull_that_is_refused_whole_says_by_which_gate() {
    let job = Job::new();
    let mut pull = hold(500, 0.9);
    pull.channels
        .insert(Quantity::CoolantTemperature, vec![30.0; 500]);
    let reading = read_pull(&pull, &job.context(EvidenceKind::Lambda)).expect("reads");
    let refused = &reading.summary.refused;
    assert_eq!(
        (refused[0].gate, refused[0].sample_count),
        (GateName::WarmUp, 500)
    );
    assert_eq!(reading.summary.warnings[0].code, "nearly_all_refused");
    assert!(reading.summary.warnings[0].message.contains("warm"));
    assert!(
        reading
            .summary
            .strip
            .iter()
            .all(|gate| *gate == Some(GateName::WarmUp))
    );
    let fitted = fit(&job.axes, &[&reading.evidence], &FitSettings::default()).expect("fits");
    assert!(fitted.theta.iter().all(|theta| theta.abs() < 1e-9));
    let empty = read_pull(&Samples::default(), &job.context(EvidenceKind::Lambda)).expect("reads");
    assert_eq!(empty.summary.warnings[0].code, "empty");
}

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

fn anything() -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => 0.0..120.0_f64,
        2 => 0.0..9000.0_f64,
        2 => 0.6..1.9_f64,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(-1e300),
        1 => Just(0.0),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Whatever a log holds, reading and fitting must neither panic nor give numbers that are none.
    #[test]
    fn no_log_breaks_the_estimate(
        rows in 0_usize..80,
        step_s in prop_oneof![Just(0.01), Just(0.1), Just(1.0)],
        cells in proptest::collection::vec(anything(), 6 * 80),
        bad_clock in any::<bool>(),
        identify in any::<bool>(),
    ) {
        let job = Job::new();
        let offset_s = (0..rows).map(|row| {
            if bad_clock { cells[row] } else { row as f64 * step_s }
        }).collect();
        let column = |index: usize| cells[index * 80..index * 80 + rows].to_vec();
        let pull = samples(offset_s, vec![
            (Quantity::EngineSpeed, column(0)),
            (Quantity::PlateAngle, column(1)),
            (Quantity::Lambda, column(2)),
            (Quantity::ShortTermTrim, column(3)),
            (Quantity::CoolantTemperature, column(4)),
            (Quantity::FuelCut, column(5)),
        ]);
        for evidence in [EvidenceKind::Lambda, EvidenceKind::Trims, EvidenceKind::LambdaAndTrims] {
            let mut context = job.context(evidence);
            if identify {
                context.delay = DelayChoice::Identify;
            }
            let reading = read_pull(&pull, &context).expect("reads");
            prop_assert_eq!(reading.summary.sample_count, rows as u64);
            prop_assert_eq!(reading.summary.strip.len(), 60);
            let fitted = fit(&job.axes, &[&reading.evidence], &FitSettings::default()).expect("fits");
            for node in 0..job.axes.node_count() {
                prop_assert!(fitted.theta[node].is_finite());
                prop_assert!(fitted.standard_error[node].is_finite() && fitted.standard_error[node] > 0.0);
                prop_assert!((0.0..=1.0).contains(&fitted.measured_fraction[node]));
            }
        }
    }
}

/// A pull that sweeps speed, with an overrun cut in its middle.
fn sweep_with_a_cut() -> Samples {
    let rows = 2000_u16;
    let cut = 900..1000;
    let plate = |row| if cut.contains(&row) { 0.0 } else { 20.0 };
    // A sensor that never moves is not taken for one that works.
    let waver = |row: u16| 0.0004 * f64::from(row % 3);
    let lambda = |row| if cut.contains(&row) { 1.8 } else { 0.96 + waver(row) };
    samples(
        (0..rows).map(|row| f64::from(row) * 0.02).collect(),
        vec![
            (
                Quantity::EngineSpeed,
                (0..rows).map(|row| 2500.0 + 2.0 * f64::from(row)).collect(),
            ),
            (Quantity::PlateAngle, (0..rows).map(plate).collect()),
            (Quantity::Lambda, (0..rows).map(lambda).collect()),
        ],
    )
}

/// If this fails, a chart marks other rows as refused than those that were.
#[test]
fn rows_are_judged_as_the_summary_counts_them() {
    let job = Job::new();
    let context = job.context(EvidenceKind::Lambda);
    let pull = sweep_with_a_cut();
    let fates = judge_rows(&pull, &context).expect("reads");
    let summary = read_pull(&pull, &context).expect("reads").summary;
    assert_eq!(fates.len(), pull.len());
    for gate in GateName::ALL {
        let counted = summary.refused.iter().find(|count| count.gate == gate);
        let counted = counted.map_or(0, |count| count.sample_count);
        let judged = fates.iter().filter(|&&by| by == Some(gate)).count();
        assert_eq!(judged as u64, counted, "{gate}");
    }
    assert_eq!(fates[950], Some(GateName::OverrunCut));
    assert_eq!(fates[600], None);
}

/// If this fails, a chart draws readings at another place or with another lambda than they were.
#[test]
fn points_lie_where_their_exhaust_was_made() {
    let job = Job::new();
    let context = job.context(EvidenceKind::Lambda);
    let evidence = read_pull(&sweep_with_a_cut(), &context)
        .expect("reads")
        .evidence;
    let points = lambda_points(&evidence, &job.axes, &job.trim, &job.target);
    assert_eq!(points.len(), evidence.block_count());
    // Film and lag make the readings around the cut differ; before it the engine is steady.
    let before: Vec<_> = points
        .iter()
        .filter(|point| (2.0..16.0).contains(&point.offset_s))
        .collect();
    assert!(before.len() > 20);
    for point in before {
        assert!((point.lambda - 0.96).abs() < 1e-3, "{point:?}");
        assert!((point.plate_percent - 20.0).abs() < 0.2, "{point:?}");
        // A delay of about 0.2 s at 100 rpm a second: 20 rpm behind the speed at the reading.
        let behind = 2500.0 + 100.0 * point.offset_s - point.rpm;
        assert!((2.0..60.0).contains(&behind), "{point:?}: {behind}");
    }
    assert!(lambda_points(&evidence, &job.axes, &[0.0], &job.target).is_empty());
}
