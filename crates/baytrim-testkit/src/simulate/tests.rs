use baytrim_model::channel::Quantity;

use super::{SimulatedPull, simulate, simulate_path};
use crate::bay::{BayOptions, SensorPlace};
use crate::drive::{self, PATH_STEP_S, Path, PullKind};
use crate::grid::{hat_weights, read};
use crate::surface::NeedSurface;
use crate::truth::{EngineTruth, TruthOptions};

fn lambda(pull: &SimulatedPull) -> &[f64] {
    pull.samples.channel(Quantity::Lambda).expect("logged")
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// An engine of one cylinder without film error whose need is flat, so that one thing shows at a time.
fn plain_engine() -> EngineTruth {
    let options = TruthOptions {
        cylinders: Some(1),
        film_compensation: Some(1.0),
        ..TruthOptions::default()
    };
    let mut truth = EngineTruth::from_seed(3, &options);
    truth.surface = NeedSurface::flat(0.0);
    truth.target_lambda.fill(0.9);
    truth
}

/// The stated truth would not be the truth: a settled reading is target times exp(need).
#[test]
fn settled_lambda_is_target_times_need_over_trim() {
    for seed in 0..10 {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let node = truth.axes.node(6, 6);
        let (rpm, plate) = truth.axes.position(node);
        let trim = vec![0.05; truth.axes.node_count()];
        let mut path = Path::default();
        path.hold(rpm, plate, 6.0);
        let bay = BayOptions::default().silent();
        let pull = simulate_path(&truth, &truth.trimmed_values(&trim), &path, seed, &bay);
        let target = read(&truth.target_lambda, &hat_weights(&truth.axes, rpm, plate));
        let expected = target * libm::exp(truth.need_at(rpm, plate) - 0.05);
        let got = lambda(&pull)[lambda(&pull).len() - 1];
        // Cylinders differ: the sensor sees their ripple, a few parts in a thousand.
        assert!(
            (got / expected - 1.0).abs() < 0.006,
            "seed {seed}: {got} for {expected}"
        );
    }
}

/// Delay facts, and with them every test of an estimator's delay, would be wrong:
/// a fuel step arrives after the stated cycles plus V / Q, and then follows the cell.
#[test]
fn a_fuel_step_arrives_after_cycles_and_volume_over_flow() {
    let mut truth = plain_engine();
    truth.pipe.mixing_share = 0.0;
    let (rpm, plate) = (4000.0, 30.0);
    let mut path = Path::default();
    path.hold(rpm, plate, 4.0);
    let begin = path.len() / 2;
    path.fuel_step_log[begin..].fill(libm::log(1.08));
    let bay = BayOptions {
        place: SensorPlace::Tailpipe,
        cover_s: 0.0,
        rate_hz: 400.0,
        ..BayOptions::default().silent()
    };
    let pull = simulate_path(&truth, &truth.table.values, &path, 1, &bay);
    let filling = truth.air.filling(rpm, plate);
    let exhaust_k = truth.air.exhaust_k(rpm, filling, true);
    let flow = truth
        .air
        .exhaust_l_per_s(rpm, truth.air.air_g(filling), exhaust_k);
    let cycle_s = truth.engine.cycle_s(rpm);
    let model = truth.delay_model(&bay);
    let delay_s = model.cycles * cycle_s + model.gas_volume_l / flow;
    let (first, last) = (lambda(&pull)[100], lambda(&pull)[lambda(&pull).len() - 1]);
    let lag_s = bay.lag_s * (1.0 + ((850.0 - exhaust_k) / 1000.0).clamp(-0.25, 0.3));
    let row = lambda(&pull)
        .iter()
        .position(|&reading| (first / reading - 1.0) / (first / last - 1.0) > 1.0 - libm::exp(-1.0))
        .expect("the step arrives");
    let answered_s = pull.samples.offset_s[row] - begin as f64 * PATH_STEP_S;
    // One cylinder fires once a cycle: the step waits half a cycle on average, which the model
    // counts, and a whole one at most.
    let expected_s = delay_s + lag_s;
    assert!(
        (answered_s - expected_s).abs() < 0.5 * cycle_s + 0.01,
        "{answered_s} s for {expected_s} s"
    );
}

/// Misfire would not read false lean: a fraction f of unburnt charges reads lambda / (1 - f)
/// where the sensor does not see the unburnt fuel.
#[test]
fn misfire_reads_lambda_over_one_minus_f() {
    let truth = plain_engine();
    let mut path = Path::default();
    path.hold(6000.0, 3.0, 200.0);
    let clean = BayOptions::default().silent();
    let rough = BayOptions {
        misfire_scale: 1e9,
        unburnt_seen: 0.0,
        // Wide enough that no reading is held at a stop.
        lambda_range: (0.3, 30.0),
        ..clean.clone()
    };
    let phi = |bay: &BayOptions| {
        let pull = simulate_path(&truth, &truth.table.values, &path, 5, bay);
        let phi: Vec<f64> = lambda(&pull).iter().map(|x| 1.0 / x).collect();
        mean(&phi)
    };
    assert!(
        truth.air.filling(6000.0, 3.0) < 0.22,
        "bursts want light load"
    );
    // Bursts follow each other without pause; their fractions are spread evenly over 0.10 to 0.35.
    let fraction = 1.0 - phi(&rough) / phi(&clean);
    assert!((fraction - 0.225).abs() < 0.02, "{fraction}");
}

/// Tests of robustness would test nothing if overrun did not drive the sensor to its stop,
/// or if the cut were not where the flags say.
#[test]
fn overrun_reads_the_stop_and_is_flagged() {
    let truth = plain_engine();
    let mut path = Path::default();
    let high = truth.ecu.overrun_rpm + 2500.0;
    path.hold(high, 20.0, 3.0);
    path.move_to(high, 0.0, 0.1);
    path.hold(high, 0.0, 3.0);
    let bay = BayOptions::default().silent();
    let pull = simulate_path(&truth, &truth.table.values, &path, 1, &bay);
    let flags = pull.samples.channel(Quantity::FuelCut).expect("logged");
    let last = flags.len() - 1;
    assert!((lambda(&pull)[last] - bay.lambda_range.1).abs() < 1e-9);
    assert!(flags[last] > 0.5 && flags[10] < 0.5 && lambda(&pull)[10] < 0.95);
    assert!(pull.rows.cut[last]);
}

/// The same seed must give the same engine and the same log, on every machine and in every version.
#[test]
fn one_seed_gives_one_log_for_ever() {
    let truth = EngineTruth::from_seed(42, &TruthOptions::default());
    let bay = BayOptions::from_seed(42);
    let pull = simulate(&truth, &truth.table.values, PullKind::Mixed, 42, &bay);
    // FNV-1a over the bits of what was read.
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    for value in lambda(&pull).iter().chain(&pull.samples.offset_s) {
        for byte in value.to_bits().to_le_bytes() {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }
    assert_eq!(hash, PINNED_HASH, "{hash:#x}: seeded engines changed");
}

/// The film's error would be missing, or survive full compensation: a plate that opens reads lean
/// at first, one that shuts reads rich, and a controller that knows the film sees neither.
#[test]
fn tip_in_reads_lean_and_tip_out_reads_rich_unless_compensated() {
    let worst = |compensation: f64| {
        let mut truth = plain_engine();
        truth.film.wall_share = 0.3;
        truth.film.tau_s = 0.5;
        truth.ecu.film_compensation = compensation;
        truth.ecu.lead_cycles = 0.0;
        let mut path = Path::default();
        for plate in [12.0, 24.0, 12.0] {
            path.move_to(4000.0, plate, 0.2);
            path.hold(4000.0, plate, 4.0);
        }
        let bay = BayOptions::default().silent();
        let pull = simulate_path(&truth, &truth.table.values, &path, 1, &bay);
        let between = |from_s: f64, to_s: f64| {
            let rows = lambda(&pull).iter().zip(&pull.samples.offset_s);
            let picked = rows.filter(move |&(_, &at_s)| at_s >= from_s && at_s < to_s);
            let values: Vec<f64> = picked.map(|(&value, _)| value / 0.9 - 1.0).collect();
            let low = values.iter().copied().fold(f64::MAX, f64::min);
            let high = values.iter().copied().fold(f64::MIN, f64::max);
            (low, high)
        };
        (between(4.2, 8.3).1, between(8.4, 12.5).0)
    };
    let (lean, rich) = worst(0.0);
    assert!(lean > 0.03 && rich < -0.03, "{lean} {rich}");
    let (lean_half, rich_half) = worst(0.5);
    assert!(lean_half < 0.7 * lean && rich_half > 0.7 * rich);
    let (lean_none, rich_none) = worst(1.0);
    assert!(
        lean_none < 0.005 && rich_none > -0.005,
        "{lean_none} {rich_none}"
    );
}

/// Trim logs would not add up: lambda over target times both trims is the fuel need.
#[test]
fn closed_loop_trims_and_lambda_together_tell_the_need() {
    let mut truth = plain_engine();
    truth.surface = NeedSurface::flat(0.07);
    truth.ecu.closed_loop = true;
    let mut path = Path::default();
    path.hold(4000.0, 20.0, 60.0);
    let bay = BayOptions::default().silent();
    let pull = simulate_path(&truth, &truth.table.values, &path, 1, &bay);
    let last = pull.samples.len() - 1;
    let column = |quantity| pull.samples.channel(quantity).expect("logged")[last] / 100.0;
    let (short, long) = (
        column(Quantity::ShortTermTrim),
        column(Quantity::LongTermTrim),
    );
    assert!(short > 0.005 && long > 0.02, "{short} {long}");
    let need = lambda(&pull)[last] / 0.9 * (1.0 + short) * (1.0 + long);
    assert!((libm::log(need) - 0.07).abs() < 0.004, "{need}");
}

/// The option for curvature would move the nodes, where the truth is stated.
#[test]
fn breathing_between_nodes_leaves_the_nodes_alone() {
    let plain = EngineTruth::from_seed(4, &TruthOptions::default());
    let options = TruthOptions {
        between_nodes: 0.5,
        ..TruthOptions::default()
    };
    let curved = EngineTruth::from_seed(4, &options);
    for (a, b) in plain.theta_at_nodes().iter().zip(curved.theta_at_nodes()) {
        assert!((a - b).abs() < 1e-12);
    }
    assert!(curved.curvature_between_nodes().0 > 1.5 * plain.curvature_between_nodes().0);
}

/// Changes only together with a wanted change of the simulator.
const PINNED_HASH: u64 = 0x83d4_47c6_6416_fa59;

/// Noise would be of another size than stated: means of settled holds scatter about the truth by
/// episode and pull offsets together.
#[test]
fn holds_scatter_about_the_truth_by_the_stated_offsets() {
    let mut scatter = Vec::new();
    let mut stated = Vec::new();
    for seed in 0..12 {
        let options = TruthOptions {
            film_compensation: Some(1.0),
            ..TruthOptions::default()
        };
        let truth = EngineTruth::from_seed(seed, &options);
        let bay = BayOptions {
            drift_percent: 0.0,
            misfire_scale: 0.0,
            ..BayOptions::default()
        };
        let mut path = Path::default();
        let (low, high) = (truth.idle_rpm * 1.6, truth.ecu.limiter_rpm * 0.85);
        for index in 0..12 {
            let rpm = low + (high - low) * f64::from((index * 5) % 12) / 11.0;
            path.move_to(rpm, 30.0 + 3.0 * f64::from(index), 1.0);
            path.hold(rpm, 30.0 + 3.0 * f64::from(index), 7.0);
        }
        let pull = simulate_path(&truth, &truth.table.values, &path, seed, &bay);
        for index in 0..12 {
            let (begin, end) = (f64::from(index) * 8.0 + 4.0, f64::from(index) * 8.0 + 8.0);
            let (rpm, plate) = path.at(end - 0.5);
            let target = read(&truth.target_lambda, &hat_weights(&truth.axes, rpm, plate));
            let expected = libm::log(target) + truth.need_at(rpm, plate);
            let logs: Vec<f64> = lambda(&pull)
                .iter()
                .zip(&pull.samples.offset_s)
                .filter(|&(_, &at)| at > begin && at < end)
                .map(|(&reading, _)| libm::log(reading) - expected)
                .collect();
            scatter.push(mean(&logs) * mean(&logs));
        }
        let noise = truth.noise;
        stated.push(noise.episode * noise.episode + noise.pull * noise.pull);
    }
    let ratio = libm::sqrt(mean(&scatter) / mean(&stated));
    // 12 engines by 12 holds; combustion noise, cylinders and pressure add a little.
    assert!((0.85..1.25).contains(&ratio), "{ratio}");
}

/// Pull kinds would not be what tests and benches take them for.
#[test]
fn pull_kinds_are_what_they_say() {
    for seed in 0..6 {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let settled = |kind| {
            let path = drive::path(&truth, kind, seed);
            let last = truth.axes.rpm.last() * 1.05;
            assert!(path.rpm.iter().all(|&rpm| rpm > 500.0 && rpm < last));
            assert!(
                path.plate_percent
                    .iter()
                    .all(|plate| (0.0..=100.0).contains(plate))
            );
            // Settled: open, and for 1.5 s within 3 % of plate and 200 rpm.
            let window = 150;
            let still = |values: &[f64], reach: f64| {
                let low = values.iter().copied().fold(f64::MAX, f64::min);
                values.iter().all(|value| value - low < reach)
            };
            let count = (window..path.len())
                .step_by(10)
                .filter(|&end| {
                    let begin = end - window;
                    path.plate_percent[end] > 1.0
                        && still(&path.plate_percent[begin..end], 3.0)
                        && still(&path.rpm[begin..end], 200.0)
                })
                .count();
            (
                count as f64 * 10.0 / path.len() as f64,
                path.duration_s(),
                path.shift.iter().any(|&shift| shift),
            )
        };
        let (holds, ride, sweeps) = (
            settled(PullKind::Holds),
            settled(PullKind::Ride),
            settled(PullKind::Sweeps),
        );
        assert!(holds.0 > 0.5, "holds settle: {holds:?}");
        assert!(
            ride.0 < 0.25 && ride.2,
            "rides seldom settle, and shift: {ride:?}"
        );
        assert!(sweeps.0 < 0.15, "sweeps hardly settle: {sweeps:?}");
        assert!((ride.1 - 600.0).abs() < 1.0);
        assert!((240.0..360.0).contains(&settled(PullKind::Mixed).1));
    }
}

/// Warm-up and sensor heating would not be there for the gates to find.
#[test]
fn a_cold_start_heats_the_sensor_and_runs_rich() {
    let truth = plain_engine();
    let mut path = Path::default();
    path.hold(3000.0, 20.0, 400.0);
    let bay = BayOptions {
        coolant_start_c: 20.0,
        heating_s: 15.0,
        ..BayOptions::default().silent()
    };
    let pull = simulate_path(&truth, &truth.table.values, &path, 1, &bay);
    let ready = pull.samples.channel(Quantity::SensorReady).expect("logged");
    let coolant = pull
        .samples
        .channel(Quantity::CoolantTemperature)
        .expect("logged");
    assert!(lambda(&pull)[10].is_nan() && ready[10] < 0.5);
    let row = |at_s: f64| {
        pull.samples
            .offset_s
            .iter()
            .position(|&offset_s| offset_s >= at_s)
            .expect("logged")
    };
    let (early, late) = (lambda(&pull)[row(20.0)], lambda(&pull)[row(390.0)]);
    assert!(early < 0.95 * late, "{early} against {late}");
    assert!((late - 0.9).abs() < 0.004);
    assert!(coolant[0] < 21.0 && coolant[coolant.len() - 1] > 80.0);
}

/// Logs would hold times or channels that the model forbids.
#[test]
fn logs_keep_the_rules_of_samples_and_jobs_are_valid() {
    for seed in 0..12 {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let spec = truth.job_spec("simulated".parse().expect("a slug"));
        assert_eq!(spec.problems(), Vec::new(), "seed {seed}");
        let bay = BayOptions {
            log_surroundings: seed % 2 == 0,
            ..BayOptions::from_seed(seed)
        };
        let kind = PullKind::ALL[usize::try_from(seed).expect("small") % PullKind::ALL.len()];
        let pull = simulate(&truth, &truth.table.values, kind, seed, &bay);
        let mut into = baytrim_model::samples::Samples::default();
        into.append(&pull.samples).expect("well-formed samples");
        let rate_hz = (pull.samples.len() - 1) as f64 / pull.samples.duration_s();
        assert!((rate_hz / bay.rate_hz - 1.0).abs() < 0.02, "{rate_hz}");
        for (quantity, column) in &pull.samples.channels {
            let (low, high) = quantity.believable();
            assert!(
                column
                    .iter()
                    .all(|value| value.is_nan() || (low..=high).contains(value))
            );
        }
        assert_eq!(pull.rows.need_log.len(), pull.samples.len());
        let visited: f64 = pull.visited_s.iter().sum();
        assert!(visited <= pull.samples.duration_s() + 0.1);
    }
}
