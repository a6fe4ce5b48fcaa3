//! Prints what simulated engines look like: surface, speed, readings.
#![expect(clippy::print_stdout, reason = "an example that prints")]

use std::time::Instant;

use baytrim_model::channel::Quantity;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

fn main() {
    for seed in 0..8 {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let theta = truth.theta_at_nodes();
        let rms = (theta.iter().map(|x| x * x).sum::<f64>() / theta.len() as f64).sqrt();
        let low = theta.iter().copied().fold(f64::MAX, f64::min);
        let high = theta.iter().copied().fold(f64::MIN, f64::max);
        println!(
            "seed {seed}: {} cc, {} cyl, {:?}, {}-{} rpm, header {:.2} l, tail {:.2} l, X {:.2}, tau {:.2}, comp {:.2}; need rms {:.1} %, {:.1} to {:.1} %",
            truth.engine.displacement_cc,
            truth.engine.cylinders,
            truth.table.content,
            truth.axes.rpm.first(),
            truth.axes.rpm.last(),
            truth.pipe.header_l,
            truth.pipe.tailpipe_l,
            truth.film.wall_share,
            truth.film.tau_s,
            truth.ecu.film_compensation,
            100.0 * rms,
            100.0 * low,
            100.0 * high
        );
        let bay = BayOptions {
            rate_hz: 100.0,
            ..BayOptions::default()
        };
        for kind in PullKind::ALL {
            let begin = Instant::now();
            let pull = simulate(&truth, &truth.table.values, kind, seed, &bay);
            let took = begin.elapsed().as_secs_f64();
            let lambda = pull.samples.channel(Quantity::Lambda).expect("logged");
            let cut = pull.rows.cut.iter().filter(|&&cut| cut).count() as f64 / lambda.len() as f64;
            let stop = lambda.iter().filter(|&&x| x >= 1.8).count() as f64 / lambda.len() as f64;
            let mut delays = pull.rows.delay_s.clone();
            delays.sort_by(f64::total_cmp);
            let visited = pull.visited_s.iter().filter(|&&s| s > 0.3).count();
            println!(
                "  {kind:?}: {:.0} s, {} rows, cut {:.1} %, at stop {:.1} %, delay 5/50/95 %: {:.3} {:.3} {:.3} s, nodes over 0.3 s: {visited} of {}; took {took:.3} s",
                pull.samples.duration_s(),
                pull.samples.len(),
                100.0 * cut,
                100.0 * stop,
                delays[delays.len() / 20],
                delays[delays.len() / 2],
                delays[delays.len() * 19 / 20],
                theta.len()
            );
        }
    }
}
