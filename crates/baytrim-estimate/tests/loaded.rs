//! Which table was loaded, asked of simulated engines whose table is known.
#![expect(clippy::print_stdout, reason = "the test prints what it measured")]

use baytrim_estimate::{
    FitSettings, LoadedAnswer, LoadedQuestion, PullContext, PullEvidence, fit, read_pull,
    which_loaded,
};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::EvidenceKind;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

/// An engine with its bay.
struct Bench {
    truth: EngineTruth,
    bay: BayOptions,
    seed: u64,
}

impl Bench {
    fn new(seed: u64) -> Self {
        Self {
            truth: EngineTruth::from_seed(seed, &TruthOptions::default()),
            bay: BayOptions::from_seed(seed),
            seed,
        }
    }

    /// Returns a pull with `loaded` in the controller, read as if `stated` were.
    fn pull(&self, kind: PullKind, number: u64, loaded: &[f64], stated: &[f64]) -> PullEvidence {
        let truth = &self.truth;
        let values = truth.trimmed_values(loaded);
        let pull = simulate(truth, &values, kind, self.seed * 1000 + number, &self.bay);
        let context = PullContext {
            engine: &truth.engine,
            axes: &truth.axes,
            target_lambda: &truth.target_lambda,
            table: &truth.table,
            trim_in_force: stated,
            gates: &baytrim_model::gate::GateSettings::default(),
            delay: DelayChoice::Identify,
            evidence: EvidenceKind::Lambda,
        };
        let reading = read_pull(&pull.samples, &context).expect("shapes fit");
        reading.evidence
    }

    fn ask(
        &self,
        earlier: &[&PullEvidence],
        pull: &PullEvidence,
        tables: &[Vec<f64>],
    ) -> LoadedAnswer {
        let question = LoadedQuestion {
            log_trims: tables,
            stated: 2,
            previous: 1,
            target_lambda: &self.truth.target_lambda,
            other_bay: false,
        };
        which_loaded(
            &self.truth.axes,
            earlier,
            pull,
            &question,
            &FitSettings::default(),
        )
        .expect("solvable")
        .expect("something to ask")
    }
}

/// Returns the correction that a proposal would take: held to 10 %, none where nobody was.
fn step(theta: &[f64], visits: &[u32], from: &[f64], share: f64) -> Vec<f64> {
    let nodes = theta.iter().zip(visits).zip(from);
    nodes
        .map(|((theta, visits), from)| {
            if *visits > 1 {
                from + (share * (theta - from)).clamp(-0.10, 0.10)
            } else {
                *from
            }
        })
        .collect()
}

/// If this fails, a table that was never loaded goes unnoticed, or one that was is doubted.
#[test]
fn the_table_that_was_loaded_is_named() {
    let (mut missed, mut alarms, mut mistaken, mut inside) = (0, 0, 0, 0);
    let engines = 20;
    for seed in 1..=engines {
        let bench = Bench::new(seed);
        let base = vec![0.0; bench.truth.axes.node_count()];
        let first = bench.pull(PullKind::Mixed, 0, &base, &base);
        let fitted = fit(&bench.truth.axes, &[&first], &FitSettings::default()).expect("solvable");
        // The first proposal took half, the second what is left.
        let half = step(&fitted.theta, &fitted.visits, &base, 0.5);
        let second = bench.pull(PullKind::Mixed, 1, &half, &half);
        let pulls = [&first, &second];
        let fitted = fit(&bench.truth.axes, &pulls, &FitSettings::default()).expect("solvable");
        let whole = step(&fitted.theta, &fitted.visits, &half, 1.0);
        let tables = [base.clone(), half.clone(), whole.clone()];
        let kind = if seed % 2 == 0 {
            PullKind::Ride
        } else {
            PullKind::Mixed
        };
        let answers: Vec<LoadedAnswer> = [&whole, &half, &base]
            .iter()
            .map(|loaded| bench.ask(&pulls, &bench.pull(kind, 2, loaded, &whole), &tables))
            .collect();
        let of = |answer: usize, table: usize| answers[answer].probability[table];
        println!(
            "engine {seed}: loaded {:.3} forgotten {:.3} wrong one {:.3}; realised {:.2?} {:.2?} {:.2?}",
            of(0, 2),
            of(1, 1),
            of(2, 0),
            answers[0].realised_share,
            answers[1].realised_share,
            answers[2].realised_share,
        );
        let (share, error) = answers[0].realised_share.expect("the tables differ");
        inside += u32::from((share - 1.0).abs() < 1.96 * error);
        alarms += u32::from(of(0, 2) < 0.5);
        missed += u32::from(of(1, 2) > 0.5) + u32::from(of(2, 2) > 0.5);
        mistaken += u32::from(of(1, 1) < 0.5) + u32::from(of(2, 0) < 0.5);
    }
    println!(
        "{alarms} false alarms of {engines}, {missed} missed and {mistaken} misnamed of {}; {inside} shares inside their 95 % interval",
        2 * engines
    );
    assert!(inside >= 17, "{inside} shares inside");
    assert!(alarms <= 1, "{alarms} false alarms");
    assert!(
        missed <= 2 && mistaken <= 3,
        "{missed} missed, {mistaken} misnamed"
    );
}
