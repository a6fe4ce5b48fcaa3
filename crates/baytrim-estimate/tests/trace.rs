//! From a node back to what is behind its number.

use baytrim_estimate::trace::ErrorSource;
use baytrim_estimate::{
    FitSettings, PullContext, PullReading, fit_whole, read_pull, trace_log, trace_node,
};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::gate::GateSettings;
use baytrim_model::samples::Samples;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

fn context<'a>(
    truth: &'a EngineTruth,
    gates: &'a GateSettings,
    trim: &'a [f64],
    delay: DelayChoice,
) -> PullContext<'a> {
    PullContext {
        engine: &truth.engine,
        axes: &truth.axes,
        target_lambda: &truth.target_lambda,
        table: &truth.table,
        trim_in_force: trim,
        gates,
        delay,
        evidence: EvidenceKind::Lambda,
    }
}

struct Shop {
    truth: EngineTruth,
    gates: GateSettings,
    trim: Vec<f64>,
    logs: Vec<Samples>,
    pulls: Vec<PullReading>,
}

impl Shop {
    /// Three pulls of one engine; the lambda of the last is multiplied by `last`.
    fn new(seed: u64, last: f64) -> Self {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let gates = truth.job_spec("trace".parse().expect("a name")).gates;
        let trim = vec![0.0; truth.axes.node_count()];
        let mut logs = Vec::new();
        let mut pulls = Vec::new();
        for pull in 0..3 {
            let seed = seed * 10 + pull;
            let bay = BayOptions::from_seed(seed);
            let simulated = simulate(&truth, &truth.table.values, PullKind::Mixed, seed, &bay);
            let mut samples = simulated.samples;
            if pull == 2 {
                let lambda = samples.channels.get_mut(&Quantity::Lambda).expect("logged");
                for value in lambda {
                    *value *= last;
                }
            }
            let context = context(&truth, &gates, &trim, DelayChoice::Identify);
            pulls.push(read_pull(&samples, &context).expect("shapes fit"));
            logs.push(samples);
        }
        Self {
            truth,
            gates,
            trim,
            logs,
            pulls,
        }
    }
}

/// If this fails, the parts of an uncertainty do not make the whole that a proposal states, or a pull is said to
/// move a node otherwise than leaving it out does.
#[test]
fn parts_make_the_whole_and_a_pull_left_out_moves_the_node() {
    let shop = Shop::new(61, 1.05);
    let evidence: Vec<_> = shop.pulls.iter().map(|pull| &pull.evidence).collect();
    let axes = &shop.truth.axes;
    let (fit, posterior) = fit_whole(axes, &evidence, &FitSettings::default()).expect("solvable");
    let node = (0..axes.node_count())
        .max_by(|&a, &b| fit.dwell_s[a].total_cmp(&fit.dwell_s[b]))
        .expect("nodes");
    let trace = trace_node(axes, &evidence, &fit, &posterior, node);
    let whole = fit.standard_error[node].hypot(fit.sensor_error);
    let squares = trace.errors.iter().map(|part| part.standard_error.powi(2));
    let sum = squares.sum::<f64>().sqrt();
    assert!((sum / whole - 1.0).abs() < 1e-6, "{sum} {whole}");
    assert_eq!(
        trace.errors.last().expect("parts").source,
        ErrorSource::Sensor
    );
    assert!(trace.errors.iter().all(|part| part.standard_error >= 0.0));
    // The odd pull reads 5 % lean: alone it says more than the others, and without it the node falls.
    let alone: Vec<f64> = trace
        .pulls
        .iter()
        .map(|pull| pull.alone.expect("solvable").theta)
        .collect();
    assert!(
        alone[2] > alone[0] + 0.02 && alone[2] > alone[1] + 0.02,
        "{alone:?}"
    );
    let without: Vec<f64> = trace
        .pulls
        .iter()
        .map(|pull| pull.without.expect("solvable").theta)
        .collect();
    assert!(without[2] < fit.theta[node] - 0.005, "{without:?}");
    // A refit of the other two, sizes of noise and all, says nearly the same.
    let (others, _) = fit_whole(axes, &evidence[..2], &FitSettings::default()).expect("solvable");
    assert!(
        (others.theta[node] - without[2]).abs() < 0.006,
        "{} {}",
        others.theta[node],
        without[2]
    );
    for (pull, reading) in trace.pulls.iter().zip(&shop.pulls) {
        assert_eq!(pull.coverage.visits, reading.summary.coverage[node].visits);
        assert!((0.0..=1.0).contains(&pull.distrust.expect("it was there")));
        assert!(pull.farthest.is_some());
    }
}

/// If this fails, samples are shown behind a node that are not those which made its number.
#[test]
fn the_log_read_once_more_has_the_same_dwell_and_gates() {
    let shop = Shop::new(62, 1.0);
    let axes = &shop.truth.axes;
    for (samples, pull) in shop.logs.iter().zip(&shop.pulls) {
        let delay = DelayChoice::Given(pull.summary.delay.model);
        let context = context(&shop.truth, &shop.gates, &shop.trim, delay);
        for node in (0..axes.node_count()).step_by(7) {
            let covered = pull.summary.coverage[node];
            let trace = trace_log(samples, &context, node, 100).expect("shapes fit");
            assert!((trace.dwell_s - covered.dwell_s).abs() < 1e-6 * (1.0 + covered.dwell_s));
            assert_eq!(trace.row_count, samples.len() as u64);
            assert!(trace.points.len() <= 100);
            let weight: f64 = trace.spans.iter().map(|span| span.weight_s).sum();
            assert!(weight <= trace.dwell_s + 1e-9);
            assert!(covered.visits == 0 || !trace.spans.is_empty());
            for point in &trace.points {
                let row = usize::try_from(point.row).expect("a row");
                assert!((samples.offset_s[row] - point.offset_s).abs() < 1e-12);
                assert_eq!(point.need.is_nan(), point.refused_by.is_some());
            }
            for gate in &trace.refused {
                let all = pull
                    .summary
                    .refused
                    .iter()
                    .find(|count| count.gate == gate.gate);
                let all = all.expect("the pull names every gate that refused");
                assert!(gate.sample_count <= all.sample_count);
                assert!(gate.weight_s <= all.refused_s + 1e-9);
            }
        }
    }
}
