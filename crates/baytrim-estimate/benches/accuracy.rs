//! Accuracy on simulated engines whose truth is known, beside nearest-node averaging.
//!
//! `cargo bench -p baytrim-estimate --bench accuracy -- [--engines N] [--first-seed S] [--only TEXT]
//! [--true-delay] [--verbose]`
//!
//! Engines were tuned on seeds 1 to 20; report on seeds from 101. The sensor has no bias here, since no pull
//! can see one; pulls have offsets of their own, sensors drift, readings are rounded and late.
#![allow(clippy::disallowed_methods, reason = "a bench measures time")]
#![expect(clippy::print_stdout, reason = "a bench prints its table")]

use std::time::Instant;

use baytrim_estimate::nearest::NearestNode;
use baytrim_estimate::{FitSettings, PullContext, PullEvidence, delay, fit, read_pull};
use baytrim_model::bay::{DelayChoice, DelayModel};
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_testkit::bay::{BayOptions, SensorPlace};
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::{SimulatedPull, simulate};
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

/// Seconds of true hat weight from which a node counts as driven.
const DRIVEN_S: f64 = 0.5;

struct Arguments {
    engines: u64,
    first_seed: u64,
    only: String,
    true_delay: bool,
    verbose: bool,
}

fn arguments() -> Arguments {
    let mut parsed = Arguments {
        engines: 30,
        first_seed: 101,
        only: String::new(),
        true_delay: false,
        verbose: false,
    };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut next = || words.next().unwrap_or_default();
        match word.as_str() {
            "--engines" => parsed.engines = next().parse().unwrap_or(parsed.engines),
            "--first-seed" => parsed.first_seed = next().parse().unwrap_or(parsed.first_seed),
            "--only" => parsed.only = next().to_lowercase(),
            "--true-delay" => parsed.true_delay = true,
            "--verbose" => parsed.verbose = true,
            _ => {}
        }
    }
    parsed
}

/// What is measured on each engine of a row.
#[derive(Debug, Clone, Copy)]
struct Row {
    kind: PullKind,
    place: SensorPlace,
    pulls: u64,
}

/// What one engine gave; errors in percent of fuel.
#[derive(Debug, Clone, Default)]
struct Score {
    rms: f64,
    worst: f64,
    nearest: f64,
    settled: f64,
    errors_over_sd: Vec<f64>,
    delay_ms: f64,
    lag_ms: f64,
    accepted: f64,
    nodes: f64,
    read_s: f64,
    fit_s: f64,
    delays: String,
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0_f64);
    for value in values {
        sum += value * value;
        count += 1.0;
    }
    (sum / count.max(1.0)).sqrt()
}

/// Returns the root mean square error of the transport delay over the rows of a pull, milliseconds.
fn delay_error_ms(context: &PullContext<'_>, model: &DelayModel, pull: &SimulatedPull) -> f64 {
    let rpm = pull.samples.channel(Quantity::EngineSpeed).expect("logged");
    let plate = pull.samples.channel(Quantity::PlateAngle).expect("logged");
    let rows = (0..rpm.len()).step_by(7).filter(|&row| !pull.rows.cut[row]);
    let rows: Vec<usize> = rows.collect();
    let points: Vec<(f64, f64)> = rows.iter().map(|&row| (rpm[row], plate[row])).collect();
    let found = delay::transport_s(context, model, &points).expect("shapes fit");
    let pairs = rows.iter().zip(found);
    1000.0 * rms(pairs.map(|(&row, found)| found - pull.rows.delay_s[row]))
}

fn measure(seed: u64, row: Row, true_delay: bool) -> Score {
    let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
    let spec = truth.job_spec("bench".parse().expect("a name"));
    let bay = BayOptions {
        place: row.place,
        bias_percent: 0.0,
        ..BayOptions::from_seed(seed)
    };
    let nodes = truth.axes.node_count();
    let zeros = vec![0.0; nodes];
    let true_model = truth.delay_model(&bay);
    let context = PullContext {
        engine: &truth.engine,
        axes: &truth.axes,
        target_lambda: &truth.target_lambda,
        table: &truth.table,
        trim_in_force: &zeros,
        gates: &spec.gates,
        delay: if true_delay {
            DelayChoice::Given(true_model)
        } else {
            DelayChoice::Identify
        },
        evidence: match row.kind {
            PullKind::FuelStep => EvidenceKind::LambdaAndTrims,
            _ => EvidenceKind::Lambda,
        },
    };
    let mut score = Score::default();
    let mut driven_s = vec![0.0; nodes];
    let mut averages = [NearestNode::new(nodes), NearestNode::new(nodes)];
    let mut evidence: Vec<PullEvidence> = Vec::new();
    let share = 1.0 / row.pulls as f64;
    for number in 0..row.pulls {
        let pull = simulate(
            &truth,
            &truth.table.values,
            row.kind,
            seed * 1000 + number,
            &bay,
        );
        for (sum, add) in driven_s.iter_mut().zip(&pull.visited_s) {
            *sum += add;
        }
        for (average, settled) in averages.iter_mut().zip([false, true]) {
            average
                .add(&pull.samples, &context, settled)
                .expect("shapes fit");
        }
        let start = Instant::now();
        let reading = read_pull(&pull.samples, &context).expect("shapes fit");
        score.read_s += share * start.elapsed().as_secs_f64();
        let summary = reading.summary;
        score.delay_ms += share * delay_error_ms(&context, &summary.delay.model, &pull);
        score.lag_ms += share * 1000.0 * (summary.delay.model.lag_s - true_model.lag_s).abs();
        score.accepted += share * summary.accepted_s / summary.duration_s;
        score.delays = format!(
            "{:?} {:?}, true {true_model:?}",
            summary.delay.source, summary.delay.model
        );
        evidence.push(reading.evidence);
    }
    let pulls: Vec<&PullEvidence> = evidence.iter().collect();
    let start = Instant::now();
    let fitted = fit(&truth.axes, &pulls, &FitSettings::default()).expect("solvable");
    score.fit_s = start.elapsed().as_secs_f64();
    compare(&truth, &fitted, &averages, &driven_s, &mut score);
    score
}

/// Compares with the truth at the nodes that were driven and where the fit claims a visit.
fn compare(
    truth: &EngineTruth,
    fitted: &baytrim_estimate::Fit,
    averages: &[NearestNode; 2],
    driven_s: &[f64],
    score: &mut Score,
) {
    let theta = truth.theta_at_nodes();
    let driven: Vec<usize> = (0..theta.len())
        .filter(|&node| driven_s[node] >= DRIVEN_S)
        .collect();
    let visited: Vec<usize> = driven
        .iter()
        .copied()
        .filter(|&node| fitted.visits[node] > 0)
        .collect();
    let error = |node: usize| 100.0 * (fitted.theta[node] - theta[node]);
    score.nodes = visited.len() as f64 / driven.len().max(1) as f64;
    score.rms = rms(visited.iter().map(|&node| error(node)));
    score.worst = visited
        .iter()
        .map(|&node| error(node).abs())
        .fold(0.0, f64::max);
    let over_sd = |&node: &usize| error(node) / (100.0 * fitted.standard_error[node]);
    score.errors_over_sd = visited.iter().map(over_sd).collect();
    let slots = [&mut score.nearest, &mut score.settled];
    for (average, slot) in averages.iter().zip(slots) {
        let found = average.theta();
        let error = |&node: &usize| Some(100.0 * (found[node]? - theta[node]));
        *slot = rms(visited.iter().filter_map(error));
    }
}

fn quantile(mut values: Vec<f64>, quarters: usize) -> f64 {
    values.sort_by(f64::total_cmp);
    let place = quarters * (values.len() - 1);
    let (below, rest) = (place / 4, (place % 4) as f64 / 4.0);
    let above = (below + 1).min(values.len() - 1);
    values[below] + rest * (values[above] - values[below])
}

fn main() {
    let arguments = arguments();
    println!(
        "{} engines a row, seeds from {}; errors in percent of fuel at driven nodes with a visit; \
         medians [quartiles] over engines, coverage over all those nodes",
        arguments.engines, arguments.first_seed
    );
    println!(
        "{:<24} {:>18} {:>6} {:>8} {:>8} {:>6} {:>6} {:>6} {:>9} {:>7} {:>9} {:>6} {:>8} {:>7}",
        "pulls",
        "rms",
        "worst",
        "nearest",
        "settled",
        "ratio",
        "in95",
        "in68",
        "delay ms",
        "lag ms",
        "accepted",
        "nodes",
        "read ms",
        "fit ms"
    );
    let kinds = [
        (PullKind::Mixed, 1),
        (PullKind::Mixed, 3),
        (PullKind::Mixed, 5),
        (PullKind::Ride, 1),
        (PullKind::Ride, 3),
        (PullKind::Sweeps, 1),
        (PullKind::Sweeps, 3),
        (PullKind::SweepsUpDown, 1),
        (PullKind::Holds, 1),
        (PullKind::FuelStep, 1),
    ];
    for (kind, pulls) in kinds {
        for place in [SensorPlace::Header, SensorPlace::Tailpipe] {
            let row = Row { kind, place, pulls };
            let name = format!("{kind:?} {place:?} x{pulls}");
            if name.to_lowercase().contains(&arguments.only) {
                let seeds = arguments.first_seed..arguments.first_seed + arguments.engines;
                let scores: Vec<Score> = seeds
                    .map(|seed| measure(seed, row, arguments.true_delay))
                    .collect();
                print_row(&name, &scores, arguments.verbose);
            }
        }
    }
}

fn print_row(name: &str, scores: &[Score], verbose: bool) {
    if verbose {
        for score in scores {
            println!(
                "  rms {:.2} worst {:.2} nearest {:.2} delay {:.0} ms {}",
                score.rms, score.worst, score.nearest, score.delay_ms, score.delays
            );
        }
    }
    let of =
        |pick: fn(&Score) -> f64, quarters| quantile(scores.iter().map(pick).collect(), quarters);
    let all: Vec<f64> = scores
        .iter()
        .flat_map(|score| score.errors_over_sd.clone())
        .collect();
    let inside = |z: f64| {
        100.0 * all.iter().filter(|value| value.abs() <= z).count() as f64 / all.len().max(1) as f64
    };
    println!(
        "{name:<24} {:>4.2} [{:>4.2}, {:>4.2}] {:>6.2} {:>8.2} {:>8.2} {:>6.2} {:>6.1} {:>6.1} {:>9.0} {:>7.0} \
         {:>9.2} {:>6.2} {:>8.1} {:>7.1}",
        of(|score| score.rms, 2),
        of(|score| score.rms, 1),
        of(|score| score.rms, 3),
        of(|score| score.worst, 2),
        of(|score| score.nearest, 2),
        of(|score| score.settled, 2),
        of(|score| score.rms / score.nearest, 2),
        inside(1.96),
        inside(1.0),
        of(|score| score.delay_ms, 2),
        of(|score| score.lag_ms, 2),
        of(|score| score.accepted, 2),
        of(|score| score.nodes, 2),
        1000.0 * of(|score| score.read_s, 2),
        1000.0 * of(|score| score.fit_s, 2),
    );
}
