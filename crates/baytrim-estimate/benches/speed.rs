//! Speed of reading a pull and of a fit.
//!
//! `cargo bench -p baytrim-estimate --bench speed [-- --write DIRECTORY]`
//!
//! With `--write`, the fitted problems go into files that `tests/oracles/plain_solution.py` solves in its own way.
#![allow(clippy::disallowed_methods, reason = "a bench measures time")]
#![expect(clippy::print_stdout, reason = "a bench prints its table")]

use std::path::PathBuf;
use std::time::Instant;

use baytrim_estimate::{
    FitSettings, LivePull, PullContext, PullEvidence, fit, fit_whole, read_pull,
};
use baytrim_model::axis::{Axes, Axis};
use baytrim_model::bay::DelayChoice;
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

/// Returns the seconds that this thread has had the processor, where the system tells; else those of a clock.
fn busy_s(since: Instant) -> f64 {
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split_whitespace().next()?.parse::<f64>().ok())
        .map_or_else(|| since.elapsed().as_secs_f64(), |nanos| nanos / 1e9)
}

/// Least time that runs are counted over, seconds: the system counts a thread's time by ticks of some milliseconds.
const COUNTED_S: f64 = 0.1;

/// Returns the shortest of several runs, in seconds of the processor.
fn shortest(mut run: impl FnMut()) -> f64 {
    let since = Instant::now();
    (0..5)
        .map(|_| {
            let (start_s, mut count) = (busy_s(since), 0_u32);
            loop {
                run();
                count += 1;
                let busy_s = busy_s(since) - start_s;
                if busy_s >= COUNTED_S {
                    return busy_s / f64::from(count);
                }
            }
        })
        .fold(f64::INFINITY, f64::min)
}

/// Returns the directory that the problems are to be written to.
fn directory() -> Option<PathBuf> {
    let mut words = std::env::args().skip_while(|word| word != "--write");
    words.next()?;
    words.next().map(PathBuf::from)
}

fn main() {
    let directory = directory();
    println!("three ten-minute rides at 100 Hz; processor time, shortest of five runs");
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
            delay: DelayChoice::Given(truth.delay_model(&bay)),
            ..PullContext::of_job(&spec, &zeros)
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
        let bytes: usize = evidence
            .iter()
            .map(|pull| serde_json::to_vec(pull).expect("plain data").len())
            .sum();
        let settings = FitSettings::default();
        let fit_s = shortest(|| drop(fit(&truth.axes, &evidence, &settings)));
        let (fitted, posterior) = fit_whole(&truth.axes, &evidence, &settings).expect("solvable");
        if let Some(directory) = &directory {
            let problem = serde_json::json!({
                "rpm": truth.axes.rpm.breakpoints(),
                "plate_percent": truth.axes.plate_percent.breakpoints(),
                "pulls": &evidence,
                "visits": &fitted.visits,
                "theta": &fitted.theta,
                "fit_ms": 1000.0 * fit_s,
                "state_bytes": bytes,
            });
            let file = directory.join(format!("problem_{side}.json"));
            std::fs::write(file, problem.to_string()).expect("a writable directory");
        }
        let visited: Vec<usize> = (0..zeros.len())
            .filter(|&node| fitted.visits[node] > 0)
            .collect();
        let done_s = shortest(|| {
            std::hint::black_box(posterior.within(&zeros, &visited, 0.03));
        });
        println!(
            "{side:>2} x {side:<2}  read, delay given {:>6.2} M samples/s   delay identified {:>6.2} M samples/s   \
             live {:>6.2} M samples/s   evidence {:.0} bytes a second of pull   fit of {blocks} blocks {:>7.1} ms   \
             chance of being done {:>7.1} ms",
            rows / given_s / 1e6,
            rows / identified_s / 1e6,
            rows / live_s / 1e6,
            bytes as f64 / 1800.0,
            1000.0 * fit_s,
            1000.0 * done_s
        );
    }
}
