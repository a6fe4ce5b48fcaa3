//! Prints what simulated engines look like: surface, speed, readings.
#![expect(clippy::print_stdout, reason = "an example that prints")]

use std::time::Instant;

use baytrim_model::channel::Quantity;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::grid::{hat_weights, read};
use baytrim_testkit::simulate::{SimulatedPull, simulate};
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

/// Returns the root mean square node error of averaging each reading at its nearest node, without
/// delay, over nodes with 1 s and more: what any better method has to beat.
fn nearest_node_error(truth: &EngineTruth, pull: &SimulatedPull) -> f64 {
    let axes = truth.axes();
    let column = |quantity| pull.samples.channel(quantity).expect("logged");
    let (rpm, plate) = (column(Quantity::EngineSpeed), column(Quantity::PlateAngle));
    let lambda = column(Quantity::Lambda);
    let mut sums = vec![(0.0, 0_u32); axes.node_count()];
    let mut refuse_until_s = 0.0;
    for row in 0..pull.samples.len() {
        let at_s = pull.samples.offset_s[row];
        if pull.rows.cut[row] || lambda[row] >= 1.5 {
            refuse_until_s = at_s + 1.2;
        }
        if at_s < refuse_until_s || lambda[row].is_nan() {
            continue;
        }
        let nearest = hat_weights(axes, rpm[row], plate[row])
            .into_iter()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0, |(node, _)| node);
        let target = read(
            &truth.target_lambda,
            &hat_weights(axes, rpm[row], plate[row]),
        );
        sums[nearest].0 += (lambda[row] / target).ln() + pull.rows.fuel_step_log[row];
        sums[nearest].1 += 1;
    }
    let theta = truth.theta_at_nodes();
    let errors: Vec<f64> = (0..theta.len())
        .filter(|&node| pull.visited_s[node] > 1.0 && sums[node].1 > 0)
        .map(|node| sums[node].0 / f64::from(sums[node].1) - theta[node])
        .collect();
    (errors.iter().map(|x| x * x).sum::<f64>() / errors.len() as f64).sqrt()
}

fn main() {
    for seed in 0..8 {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let theta = truth.theta_at_nodes();
        let rms = (theta.iter().map(|x| x * x).sum::<f64>() / theta.len() as f64).sqrt();
        let low = theta.iter().copied().fold(f64::MAX, f64::min);
        let high = theta.iter().copied().fold(f64::MIN, f64::max);
        println!(
            "seed {seed}: {} cc, {} cyl, {:?}, {}-{} rpm, header {:.2} l, tail {:.2} l, X {:.2}, tau {:.2}, comp {:.2}; need rms {:.1} %, {:.1} to {:.1} %, between nodes rms {:.2} %, most {:.2} %",
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
            100.0 * high,
            100.0 * truth.curvature_between_nodes().0,
            100.0 * truth.curvature_between_nodes().1
        );
        let bay = BayOptions {
            rate_hz: 100.0,
            ..BayOptions::default()
        };
        for kind in PullKind::ALL {
            #[expect(
                clippy::disallowed_methods,
                reason = "this program measures its own speed"
            )]
            let begin = Instant::now();
            let pull = simulate(&truth, &truth.table.values, kind, seed, &bay);
            let took = begin.elapsed().as_secs_f64();
            let lambda = pull.samples.channel(Quantity::Lambda).expect("logged");
            let cut = pull.rows.cut.iter().filter(|&&cut| cut).count() as f64 / lambda.len() as f64;
            let stop = lambda.iter().filter(|&&x| x >= 1.8).count() as f64 / lambda.len() as f64;
            let mut delays = pull.rows.delay_s.clone();
            delays.sort_by(f64::total_cmp);
            let visited = pull.visited_s.iter().filter(|&&s| s > 0.3).count();
            let settled = pull.settled_s.iter().sum::<f64>();
            let known = pull.settled_s.iter().filter(|&&s| s > 0.3).count();
            println!(
                "  {kind:?}: {:.0} s, {} rows, cut {:.1} %, at stop {:.1} %, delay 5/50/95 %: {:.3} {:.3} {:.3} s, nodes over 0.3 s: {visited} of {}, settled {settled:.0} s on {known}; nearest-node error {:.1} %; took {took:.3} s",
                pull.samples.duration_s(),
                pull.samples.len(),
                100.0 * cut,
                100.0 * stop,
                delays[delays.len() / 20],
                delays[delays.len() / 2],
                delays[delays.len() * 19 / 20],
                theta.len(),
                100.0 * nearest_node_error(&truth, &pull)
            );
        }
    }
}
