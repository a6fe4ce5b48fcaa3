//! Planned pulls, driven on simulated engines whose truth is known.
#![expect(clippy::print_stdout, reason = "the test prints what it measured")]

use baytrim_estimate::{
    Fit, FitSettings, PlanQuestion, PullContext, PullEvidence, PullPlan, UseMap, fit, fit_whole,
    plan_pull, read_pull,
};
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::{Path, PullKind, path};
use baytrim_testkit::simulate::simulate_path;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

const SECONDS: f64 = 150.0;

/// Returns the path that a tuner would drive who runs the plan step by step.
fn driven(plan: &PullPlan) -> Path {
    let mut path = Path::default();
    for step in &plan.steps {
        path.move_to(step.from_rpm, step.plate_percent, 2.0);
        path.hold(step.from_rpm, step.plate_percent, 2.0);
        if step.is_hold() {
            path.hold(step.from_rpm, step.plate_percent, step.run_s);
        } else {
            path.sweep_to(step.to_rpm, 0.5 * step.run_s);
            path.sweep_to(step.from_rpm, 0.5 * step.run_s);
        }
    }
    path
}

fn read(truth: &EngineTruth, path: &Path, seed: u64) -> PullEvidence {
    let bay = BayOptions {
        bias_percent: 0.0,
        ..BayOptions::from_seed(seed / 1000)
    };
    let pull = simulate_path(truth, &truth.table.values, path, seed, &bay);
    let spec = truth.job_spec("plan".parse().expect("a name"));
    let trim = vec![0.0; truth.axes.node_count()];
    let context = PullContext::of_job(&spec, &trim);
    read_pull(&pull.samples, &context)
        .expect("shapes fit")
        .evidence
}

/// Root of the weighted mean square, percent.
fn weighted(values: impl Iterator<Item = f64>, weights: &[f64]) -> f64 {
    let total: f64 = weights.iter().sum();
    let sum: f64 = values
        .zip(weights)
        .map(|(value, weight)| value * value * weight)
        .sum();
    100.0 * (sum / total).sqrt()
}

/// If this fails, a plan promises more than a pull brings, or leads an engine where it is not known to be safe.
#[test]
fn a_planned_pull_brings_what_it_promises() {
    let (mut before, mut after, mut promised, mut stated) = (0.0, 0.0, 0.0, 0.0);
    let engines = 8;
    for seed in 1..=engines {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let spec = truth.job_spec("plan".parse().expect("a name"));
        let first = read(
            &truth,
            &path(&truth, PullKind::Ride, seed * 1000),
            seed * 1000,
        );
        let (fitted, posterior) =
            fit_whole(&truth.axes, &[&first], &FitSettings::default()).expect("solvable");
        let weights = UseMap::Visited.weights(&truth.axes, &fitted.visits);
        // The engine runs its base table, corrected by what the first pull says.
        let question = PlanQuestion {
            axes: &truth.axes,
            log_trim: &fitted.theta,
            target_lambda: &truth.target_lambda,
            limits: &spec.limits,
            gates: &spec.gates,
            weights: &weights,
            seconds: SECONDS,
        };
        let plan = plan_pull(&fitted, &posterior, &question).expect("nodes count");
        let spent: f64 = plan.steps.iter().map(|step| step.total_s).sum();
        assert!(!plan.steps.is_empty() && spent <= SECONDS, "{spent} s");
        let second = read(&truth, &driven(&plan), seed * 1000 + 1);
        let both = fit(&truth.axes, &[&first, &second], &FitSettings::default()).expect("solvable");
        let need = truth.theta_at_nodes();
        let off = |fit: &Fit| {
            let pairs: Vec<f64> = fit.theta.iter().zip(&need).map(|(a, b)| a - b).collect();
            weighted(pairs.into_iter(), &weights)
        };
        let last = plan.steps.last().expect("not empty").error_after;
        let errors = weighted(both.standard_error.iter().copied(), &weights);
        println!(
            "engine {seed}: {} runs in {spent:.0} s, {} sweeps, {} nodes out of reach; standard error {:.2} -> {:.2} % promised, {errors:.2} % stated; true error {:.2} -> {:.2} %",
            plan.steps.len(),
            plan.steps.iter().filter(|step| !step.is_hold()).count(),
            plan.unreachable,
            100.0 * plan.error_now,
            100.0 * last,
            off(&fitted),
            off(&both),
        );
        before += off(&fitted) / engines as f64;
        after += off(&both) / engines as f64;
        promised += 100.0 * last / engines as f64;
        stated += errors / engines as f64;
    }
    println!(
        "true error {before:.2} -> {after:.2} %; promised {promised:.2} %, stated {stated:.2} %"
    );
    assert!(after < 0.9 * before, "{before:.2} -> {after:.2}");
    assert!(
        (promised / stated).ln().abs() < 0.4,
        "{promised:.2} for {stated:.2}"
    );
}
