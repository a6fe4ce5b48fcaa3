//! Accuracy on simulated engines whose truth is known, beside nearest-node averaging.
//!
//! `cargo bench -p baytrim-estimate --bench accuracy -- [--engines N] [--first-seed S] [--only TEXT]
//! [--verbose]`
//!
//! Engines were tuned on seeds 1 to 60, 301 to 340 and 1001 to 1040; report on seeds from 501. The sensor has no bias here,
//! since no pull can see one; pulls have offsets of their own, sensors drift, readings are rounded and late.
//! `given`: the delay is told, which shows what its identification costs. `noise`: factor on all noise.
//! `delay ms`: root mean square error of the transport delay with the plate open; `in2se`: percent of delays (with lag,
//! at the middle of a pull) within two of their standard errors.
//! `lean`: of the nodes that a proposal makes leaner, the percentage that ends leaner than its target in truth;
//! `over wall`: how many of all end leaner than the leanest lambda permitted.
#![allow(clippy::disallowed_methods, reason = "a bench measures time")]
#![expect(clippy::print_stdout, reason = "a bench prints its table")]

mod print;
mod row;

use std::time::Instant;

use baytrim_estimate::limit::{NodeEstimates, propose_nodes};
use baytrim_estimate::nearest::NearestNode;
use baytrim_estimate::{FitSettings, PullContext, PullEvidence, delay, fit, read_pull};
use baytrim_model::bay::{DelayChoice, DelayModel};
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::limits::Limits;
use baytrim_model::pull::DelayFound;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::{SimulatedPull, simulate};
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

use crate::print::print_row;
use crate::row::{Row, rows};

/// Seconds of true hat weight from which a node counts as driven.
const DRIVEN_S: f64 = 0.5;

struct Arguments {
    engines: u64,
    first_seed: u64,
    only: String,
    verbose: bool,
}

fn arguments() -> Arguments {
    let mut parsed = Arguments {
        engines: 30,
        first_seed: 101,
        only: String::new(),
        verbose: false,
    };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut next = || words.next().unwrap_or_default();
        match word.as_str() {
            "--engines" => parsed.engines = next().parse().unwrap_or(parsed.engines),
            "--first-seed" => parsed.first_seed = next().parse().unwrap_or(parsed.first_seed),
            "--only" => parsed.only = next().to_lowercase(),
            "--verbose" => parsed.verbose = true,
            _ => {}
        }
    }
    parsed
}

/// What one engine gave; errors in percent of fuel.
#[derive(Debug, Clone, Default)]
struct Score {
    rms: f64,
    worst: f64,
    nearest: f64,
    settled: f64,
    errors_over_sd: Vec<f64>,
    leaned: u32,
    too_lean: u32,
    over_wall: u32,
    delay_ms: f64,
    /// Error of delay and lag at each pull's typical point over its standard error.
    delays_over_se: Vec<f64>,
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

/// Returns the delay found and the true one, lag not included, at rows of a pull with the plate open, seconds.
fn delays_s(
    context: &PullContext<'_>,
    model: &DelayModel,
    pull: &SimulatedPull,
) -> Vec<(f64, f64)> {
    let rpm = pull.samples.channel(Quantity::EngineSpeed).expect("logged");
    let plate = pull.samples.channel(Quantity::PlateAngle).expect("logged");
    let open = |row: &usize| !pull.rows.cut[*row] && plate[*row] > 2.0;
    let rows = (0..rpm.len()).step_by(7).filter(open);
    let rows: Vec<usize> = rows.collect();
    let points: Vec<(f64, f64)> = rows.iter().map(|&row| (rpm[row], plate[row])).collect();
    let found = delay::transport_s(context, model, &points).expect("shapes fit");
    let pairs = found.into_iter().zip(rows);
    pairs
        .map(|(found, row)| (found, pull.rows.delay_s[row]))
        .collect()
}

/// Returns the middle error of delay and lag over the standard error that the pull's typical point has; none where
/// nothing was searched.
fn over_se(delays_s: &[(f64, f64)], found: &DelayFound, truth: &DelayModel) -> Option<f64> {
    let typical = found.typical?;
    let share = |&(found_s, true_s): &(f64, f64)| {
        (found_s + found.model.lag_s) / (true_s + truth.lag_s) - 1.0
    };
    let mut shares: Vec<f64> = delays_s.iter().map(share).collect();
    let middle = shares.len() / 2;
    let (_, middle, _) = shares.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*middle * typical.delay_s / typical.standard_error_s)
}

fn measure(seed: u64, row: Row) -> Score {
    let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
    let spec = truth.job_spec("bench".parse().expect("a name"));
    let bay = BayOptions {
        place: row.place,
        bias_percent: 0.0,
        noise_scale: row.noise,
        ..BayOptions::from_seed(seed)
    };
    let nodes = truth.axes.node_count();
    let zeros = vec![0.0; nodes];
    let true_model = truth.delay_model(&bay);
    let context = PullContext {
        delay: if row.given {
            DelayChoice::Given(true_model)
        } else {
            DelayChoice::Identify
        },
        evidence: match row.kind {
            PullKind::FuelStep => EvidenceKind::LambdaAndTrims,
            _ => EvidenceKind::Lambda,
        },
        ..PullContext::of_job(&spec, &zeros)
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
        let delays_s = delays_s(&context, &summary.delay.model, &pull);
        let error_s = rms(delays_s.iter().map(|(found, truth)| found - truth));
        score.delay_ms += share * 1000.0 * error_s;
        let over_se = over_se(&delays_s, &summary.delay, &true_model);
        score.delays_over_se.extend(over_se);
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
    propose(&truth, &spec.limits, &fitted, &mut score);
    score
}

/// Counts the nodes that a proposal makes leaner, and those that it should not have.
fn propose(
    truth: &EngineTruth,
    limits: &Limits,
    fitted: &baytrim_estimate::Fit,
    score: &mut Score,
) {
    let estimates = NodeEstimates {
        theta: &fitted.theta,
        standard_error: &fitted.standard_error,
        sensor_error: fitted.sensor_error,
        dwell_s: &fitted.dwell_s,
        visits: &fitted.visits,
        measured_fraction: &fitted.measured_fraction,
        false_lean: &[],
        least_fuel: &[],
    };
    let (table, target) = (&truth.table, &truth.target_lambda);
    let changes = propose_nodes(
        &truth.axes,
        table,
        target,
        limits,
        &table.values,
        &estimates,
    )
    .expect("shapes fit");
    let content = table.content;
    for (node, need) in truth.theta_at_nodes().into_iter().enumerate() {
        let base = content.fuel(table.values[node]);
        let trim = (content.fuel(changes[node].after) / base).ln();
        if trim < -1e-9 {
            let (rpm, plate_percent) = truth.axes.position(node);
            let wall = limits.leanest_lambda_at(rpm, plate_percent);
            score.leaned += 1;
            score.too_lean += u32::from(need > trim);
            score.over_wall += u32::from(target[node] * (need - trim).exp() > wall);
        }
    }
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

fn main() {
    let arguments = arguments();
    println!(
        "{} engines a row, seeds from {}; errors in percent of fuel at driven nodes with a visit; \
         medians [quartiles] over engines, coverage over all those nodes",
        arguments.engines, arguments.first_seed
    );
    println!(
        "{:<30} {:>18} {:>6} {:>8} {:>8} {:>6} {:>6} {:>6} {:>9} {:>7} {:>7} {:>9} {:>6} {:>6} {:>9} {:>8} {:>7}",
        "pulls",
        "rms",
        "worst",
        "nearest",
        "settled",
        "ratio",
        "in95",
        "in68",
        "delay ms",
        "in2se",
        "lag ms",
        "accepted",
        "nodes",
        "lean",
        "over wall",
        "read ms",
        "fit ms"
    );
    for row in rows() {
        let name = row.name();
        if name.to_lowercase().contains(&arguments.only) {
            let seeds = arguments.first_seed..arguments.first_seed + arguments.engines;
            let scores: Vec<Score> = seeds.map(|seed| measure(seed, row)).collect();
            print_row(&name, &scores, arguments.verbose);
        }
    }
}
