//! Accuracy on simulated engines whose truth is known, beside nearest-node averaging.
//!
//! `cargo bench -p baytrim-estimate --bench accuracy -- [--engines N] [--first-seed S] [--only TEXT]`
#![expect(clippy::print_stdout, reason = "a bench prints its table")]

use std::time::Instant;

use baytrim_estimate::nearest::NearestNode;
use baytrim_estimate::{FitSettings, PullContext, PullEvidence, delay, fit, read_pull};
use baytrim_model::bay::{DelayChoice, DelayModel};
use baytrim_model::channel::EvidenceKind;
use baytrim_testkit::bay::{BayOptions, SensorPlace};
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::{SimulatedPull, simulate};
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

/// Seconds of true hat weight from which a node counts as visited.
const VISITED_S: f64 = 0.5;

struct Arguments {
    engines: u64,
    first_seed: u64,
    only: String,
    true_delay: bool,
    verbose: bool,
    silent: bool,
    map: bool,
    rate: Option<f64>,
    settle_s: Option<f64>,
    unsettled: Option<f64>,
}

fn arguments() -> Arguments {
    let mut parsed = Arguments {
        engines: 30,
        first_seed: 101,
        only: String::new(),
        true_delay: false,
        verbose: false,
        silent: false,
        map: false,
        rate: None,
        settle_s: None,
        unsettled: None,
    };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut number = |or: u64| {
            words
                .next()
                .and_then(|word| word.parse().ok())
                .unwrap_or(or)
        };
        match word.as_str() {
            "--engines" => parsed.engines = number(parsed.engines),
            "--first-seed" => parsed.first_seed = number(parsed.first_seed),
            "--only" => parsed.only = words.next().unwrap_or_default(),
            "--rate" => parsed.rate = words.next().and_then(|word| word.parse().ok()),
            "--unsettled" => parsed.unsettled = words.next().and_then(|word| word.parse().ok()),
            "--settle" => parsed.settle_s = words.next().and_then(|word| word.parse().ok()),
            "--true-delay" => parsed.true_delay = true,
            "--silent" => parsed.silent = true,
            "--map" => parsed.map = true,
            "--verbose" => parsed.verbose = true,
            _ => {}
        }
    }
    parsed
}

/// What one engine gave.
#[derive(Debug, Clone, Default)]
struct Score {
    rms: f64,
    worst: f64,
    nearest: f64,
    settled: f64,
    errors_over_sd: Vec<f64>,
    delay_ms: f64,
    lag_ms: f64,
    read_s: f64,
    fit_s: f64,
    accepted: f64,
    kept: f64,
    remarks: String,
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0_f64);
    for value in values {
        sum += value * value;
        count += 1.0;
    }
    (sum / count.max(1.0)).sqrt()
}

fn delay_error_ms(context: &PullContext<'_>, model: &DelayModel, pull: &SimulatedPull) -> f64 {
    use baytrim_model::channel::Quantity::{EngineSpeed, PlateAngle};
    let rpm = pull.samples.channel(EngineSpeed).expect("logged");
    let plate = pull.samples.channel(PlateAngle).expect("logged");
    let rows: Vec<usize> = (0..rpm.len())
        .step_by(7)
        .filter(|&row| !pull.rows.cut[row])
        .collect();
    let points: Vec<(f64, f64)> = rows.iter().map(|&row| (rpm[row], plate[row])).collect();
    let found = delay::transport_s(context, model, &points).expect("shapes fit");
    1000.0
        * rms(rows
            .iter()
            .zip(found)
            .map(|(&row, found)| found - pull.rows.delay_s[row]))
}

fn measure(
    seed: u64,
    kind: PullKind,
    place: SensorPlace,
    count: usize,
    arguments: &Arguments,
) -> Score {
    let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
    let mut spec = truth.job_spec("bench".parse().expect("a name"));
    if let Some(rate) = arguments.rate {
        spec.gates.plate_rate_percent_per_s_max = rate;
    }
    if let Some(share) = arguments.unsettled {
        spec.gates.unsettled_share_max = share;
    }
    if let Some(settle_s) = arguments.settle_s {
        spec.gates.settle_s = settle_s;
    }
    let bay = BayOptions {
        place,
        bias_percent: 0.0,
        ..BayOptions::from_seed(seed)
    };
    let bay = if arguments.silent { bay.silent() } else { bay };
    let zeros = vec![0.0; truth.axes.node_count()];
    let true_model = truth.delay_model(&bay);
    let evidence_kind = if kind == PullKind::FuelStep {
        EvidenceKind::LambdaAndTrims
    } else {
        EvidenceKind::Lambda
    };
    let context = PullContext {
        engine: &truth.engine,
        axes: &truth.axes,
        target_lambda: &truth.target_lambda,
        table: &truth.table,
        trim_in_force: &zeros,
        gates: &spec.gates,
        delay: if arguments.true_delay {
            DelayChoice::Given(true_model)
        } else {
            DelayChoice::Identify
        },
        evidence: evidence_kind,
    };
    let mut score = Score::default();
    let mut visited_s = vec![0.0; truth.axes.node_count()];
    let mut nearest = NearestNode::new(truth.axes.node_count());
    let mut settled = NearestNode::new(truth.axes.node_count());
    let mut evidence: Vec<PullEvidence> = Vec::new();
    for number in 0..count {
        let pull = simulate(
            &truth,
            &truth.table.values,
            kind,
            seed * 1000 + number as u64,
            &bay,
        );
        for (sum, add) in visited_s.iter_mut().zip(&pull.visited_s) {
            *sum += add;
        }
        nearest
            .add(&pull.samples, &context, false)
            .expect("shapes fit");
        settled
            .add(&pull.samples, &context, true)
            .expect("shapes fit");
        let start = Instant::now();
        let reading = read_pull(&pull.samples, &context).expect("shapes fit");
        score.read_s += start.elapsed().as_secs_f64() / count as f64;
        let model = reading.summary.delay.model;
        score.delay_ms += delay_error_ms(&context, &model, &pull) / count as f64;
        score.lag_ms += 1000.0 * (model.lag_s - true_model.lag_s) / count as f64;
        score.accepted += reading.summary.accepted_s / reading.summary.duration_s / count as f64;
        score.remarks = format!(
            "offset {:.2} drift {:.2} ",
            100.0 * pull.pull_offset,
            bay.drift_percent
        ) + &format!(
            "{:?} {:?} {:.3} {:.2} {:.3} true {:.3} {:.2} {:.3}",
            reading.summary.delay.source,
            truth.table.content,
            model.cycles,
            model.gas_volume_l,
            model.lag_s,
            true_model.cycles,
            true_model.gas_volume_l,
            true_model.lag_s
        );
        evidence.push(reading.evidence);
    }
    let pulls: Vec<&PullEvidence> = evidence.iter().collect();
    let start = Instant::now();
    let fitted = fit(&truth.axes, &pulls, &FitSettings::default()).expect("solvable");
    score.fit_s = start.elapsed().as_secs_f64();
    let theta = truth.theta_at_nodes();
    let driven = |node: usize| visited_s[node] >= VISITED_S;
    let visited: Vec<usize> = (0..theta.len())
        .filter(|&node| driven(node) && fitted.visits[node] > 0)
        .collect();
    let driven_count = (0..theta.len()).filter(|&node| driven(node)).count();
    score.kept = visited.len() as f64 / driven_count.max(1) as f64;
    let error = |node: usize| 100.0 * (fitted.theta[node] - theta[node]);
    if arguments.map {
        print_map(&truth, &visited, &error, &fitted);
    }
    score.rms = rms(visited.iter().map(|&node| error(node)));
    score.worst = visited
        .iter()
        .map(|&node| error(node).abs())
        .fold(0.0, f64::max);
    score.errors_over_sd = visited
        .iter()
        .map(|&node| error(node) / (100.0 * fitted.standard_error[node]))
        .collect();
    for (found, slot) in [
        (nearest.theta(), &mut score.nearest),
        (settled.theta(), &mut score.settled),
    ] {
        *slot = rms(visited
            .iter()
            .filter_map(|&node| Some(100.0 * (found[node]? - theta[node]))));
    }
    score.remarks += &format!(
        " mean {:.2} bay step {} rate {} cyl {} leak {} ",
        visited.iter().map(|&node| error(node)).sum::<f64>() / visited.len() as f64,
        bay.reading_step,
        bay.rate_hz,
        truth.cylinder_phi.len(),
        bay.leak_at_1_l_per_s
    );
    score.remarks += &format!(
        " noise {:.2} episode {:.2} {:?}",
        fitted.summary.noise_percent, fitted.summary.episode_percent, fitted.summary.remarks
    );
    score
}

fn print_map(
    truth: &EngineTruth,
    visited: &[usize],
    error: &dyn Fn(usize) -> f64,
    fitted: &baytrim_estimate::Fit,
) {
    let axes = &truth.axes;
    println!(
        "error percent (standard error) at visited nodes, plates down, speeds across {:?}",
        axes.rpm.breakpoints()
    );
    for (j, plate) in axes.plate_percent.breakpoints().iter().enumerate() {
        print!("{plate:>5}");
        for i in 0..axes.rpm.len() {
            let node = axes.node(i, j);
            if visited.contains(&node) {
                print!(
                    " {:>5.1}({:.1})",
                    error(node),
                    100.0 * fitted.standard_error[node]
                );
            } else {
                print!("           ");
            }
        }
        println!();
    }
}

fn quantile(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let last = values.len() - 1;
    let place = share * last as f64;
    let below = place.floor() as usize;
    let above = (below + 1).min(last);
    values[below] + (place - below as f64) * (values[above] - values[below])
}

fn main() {
    let arguments = arguments();
    println!(
        "{} engines a row, seeds from {}; percent of fuel; median [quartiles] over engines; \
         coverage over all visited nodes",
        arguments.engines, arguments.first_seed
    );
    println!(
        "{:<24} {:>19} {:>6} {:>8} {:>8} {:>6} {:>6} {:>6} {:>9} {:>8} {:>6} {:>6} {:>8} {:>7}",
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
        "acc",
        "nodes",
        "read ms",
        "fit ms"
    );
    let rows = [
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
    for (kind, count) in rows {
        for place in [SensorPlace::Header, SensorPlace::Tailpipe] {
            let name = format!("{kind:?} {place:?} x{count}");
            if !name.to_lowercase().contains(&arguments.only.to_lowercase()) {
                continue;
            }
            let scores: Vec<Score> = (0..arguments.engines)
                .map(|engine| {
                    measure(
                        arguments.first_seed + engine,
                        kind,
                        place,
                        count,
                        &arguments,
                    )
                })
                .collect();
            print_row(&name, &scores, arguments.verbose);
        }
    }
}

fn print_row(name: &str, scores: &[Score], verbose: bool) {
    if verbose {
        for score in scores {
            let cover = score
                .errors_over_sd
                .iter()
                .filter(|z| z.abs() <= 1.96)
                .count() as f64
                / score.errors_over_sd.len().max(1) as f64;
            println!(
                "  {:.2} worst {:.2} nearest {:.2} cover {:.2} delay {:.0} lag {:.0} {}",
                score.rms,
                score.worst,
                score.nearest,
                cover,
                score.delay_ms,
                score.lag_ms,
                score.remarks
            );
        }
    }
    let of =
        |pick: fn(&Score) -> f64, share: f64| quantile(scores.iter().map(pick).collect(), share);
    let all: Vec<f64> = scores
        .iter()
        .flat_map(|score| score.errors_over_sd.iter().copied())
        .collect();
    let inside = |z: f64| {
        100.0 * all.iter().filter(|value| value.abs() <= z).count() as f64 / all.len().max(1) as f64
    };
    println!(
        "{:<24} {:>5.2} [{:>5.2},{:>5.2}] {:>6.2} {:>8.2} {:>8.2} {:>6.2} {:>6.1} {:>6.1} {:>9.0} {:>8.0} {:>6.2} {:>6.2} {:>8.1} {:>7.1}",
        name,
        of(|score| score.rms, 0.5),
        of(|score| score.rms, 0.25),
        of(|score| score.rms, 0.75),
        of(|score| score.worst, 0.5),
        of(|score| score.nearest, 0.5),
        of(|score| score.settled, 0.5),
        of(|score| score.rms / score.nearest, 0.5),
        inside(1.96),
        inside(1.0),
        of(|score| score.delay_ms, 0.5),
        of(|score| score.lag_ms.abs(), 0.5),
        of(|score| score.accepted, 0.5),
        of(|score| score.kept, 0.5),
        1000.0 * of(|score| score.read_s, 0.5),
        1000.0 * of(|score| score.fit_s, 0.5),
    );
}
