//! Speed of reading a pull and of a fit.
//!
//! `cargo bench -p baytrim-estimate --bench speed`
#![allow(clippy::disallowed_methods, reason = "a bench measures time")]
#![expect(clippy::print_stdout, reason = "a bench prints its table")]

use std::time::Instant;

use baytrim_estimate::{FitSettings, LivePull, PullContext, PullEvidence, fit, read_pull};
use baytrim_model::axis::{Axes, Axis};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::EvidenceKind;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

fn axes(side: usize) -> Axes {
    let share = |index: usize| index as f64 / (side - 1) as f64;
    let rpm = (0..side)
        .map(|index| 1200.0 + 8800.0 * share(index))
        .collect();
    let plate = (0..side)
        .map(|index| 100.0 * share(index).powf(1.7))
        .collect();
    Axes {
        rpm: Axis::new("rpm", rpm).expect("increasing"),
        plate_percent: Axis::new("plate", plate).expect("increasing"),
    }
}

/// Returns the shortest of several runs, in seconds.
fn shortest(mut run: impl FnMut()) -> f64 {
    (0..5)
        .map(|_| {
            let start = Instant::now();
            run();
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn main() {
    println!("three ten-minute rides at 100 Hz; shortest of five runs");
    for side in [14, 20, 40] {
        let options = TruthOptions {
            axes: Some(axes(side)),
            ..TruthOptions::default()
        };
        let truth = EngineTruth::from_seed(7, &options);
        let bay = BayOptions {
            rate_hz: 100.0,
            ..BayOptions::default()
        };
        let zeros = vec![0.0; truth.axes.node_count()];
        let spec = truth.job_spec("speed".parse().expect("a name"));
        let context = PullContext {
            engine: &truth.engine,
            axes: &truth.axes,
            target_lambda: &truth.target_lambda,
            table: &truth.table,
            trim_in_force: &zeros,
            gates: &spec.gates,
            delay: DelayChoice::Given(truth.delay_model(&bay)),
            evidence: EvidenceKind::Lambda,
        };
        let pulls: Vec<_> = (0..3)
            .map(|seed| simulate(&truth, &truth.table.values, PullKind::Ride, seed, &bay).samples)
            .collect();
        let rows = pulls[0].len() as f64;
        let given_s = shortest(|| drop(read_pull(&pulls[0], &context)));
        let identify = PullContext {
            delay: DelayChoice::Identify,
            ..context
        };
        let identified_s = shortest(|| drop(read_pull(&pulls[0], &identify)));
        let live_s = shortest(|| {
            let mut live = LivePull::new(&context).expect("shapes fit");
            live.push(&pulls[0]).expect("columns fit");
        });
        let evidence: Vec<PullEvidence> = pulls
            .iter()
            .map(|samples| read_pull(samples, &context).expect("shapes fit").evidence)
            .collect();
        let evidence: Vec<&PullEvidence> = evidence.iter().collect();
        let blocks: usize = evidence.iter().map(|pull| pull.block_count()).sum();
        let fit_s = shortest(|| drop(fit(&truth.axes, &evidence, &FitSettings::default())));
        println!(
            "{side:>2} x {side:<2}  read, delay given {:>6.2} M samples/s   delay identified {:>6.2} M samples/s   \
             live {:>6.2} M samples/s   fit of {blocks} blocks {:>7.1} ms",
            rows / given_s / 1e6,
            rows / identified_s / 1e6,
            rows / live_s / 1e6,
            1000.0 * fit_s
        );
    }
}
