//! An earlier job of the invented shop: a vehicle of the same kind, before and after its tuning, on the roller and in
//! the rider's hand.

use std::collections::BTreeMap;

use baytrim_model::axis::Axes;
use baytrim_model::channel::Quantity;
use baytrim_model::grip::GripTableSpec;
use baytrim_model::job::JobSpec;
use baytrim_model::samples::Samples;

use super::{BESIDE, DEMO_SEED, DemoFile, INVENTED, bay, engine, job, percent_lacking};
use crate::bay::BayOptions;
use crate::csv;
use crate::drive::{Path, PullKind};
use crate::hand::Throttle;
use crate::job_file::job_toml;
use crate::random::{Dice, Purpose};
use crate::roller::{self, RollerOptions};
use crate::simulate::{simulate, simulate_path};
use crate::truth::EngineTruth;

/// Seed of what this vehicle differs in from the other; its pulls count on from it.
const SEED: u64 = DEMO_SEED + 100;
/// Standard deviation of what vehicles of the kind differ in, as a whole and over parts of the table, ln units.
const BETWEEN_VEHICLES: f64 = 0.015;
/// More torque with the mixture right than with the table as it came: invented, and of the size that a mixture some
/// percent off costs.
const TUNED_STRENGTH: f64 = 1.025;
/// Places of the hand, percent of grip; each is held twice.
const PLACES_PERCENT: [f64; 7] = [5.0, 10.0, 20.0, 30.0, 40.0, 60.0, 80.0];
/// Engine speeds that a stay sweeps, rpm, and how long it takes, seconds.
const STAY: (f64, f64, f64) = (3000.0, 6500.0, 2.5);

/// The table that the pulls after tuning ran with: what the demo's commands lead to, exported.
const TUNED_TABLE: &str = include_str!("../../../../demo-data/earlier/table_r2.csv");

/// Returns the engine: one of the kind of [`engine`].
fn sister() -> EngineTruth {
    let mut truth = engine();
    let mut dice = Dice::new(SEED, Purpose::Surface);
    truth.surface = truth
        .surface
        .varied(&mut dice, BETWEEN_VEHICLES, BETWEEN_VEHICLES);
    truth
}

fn spec(truth: &EngineTruth) -> JobSpec {
    let grips: Vec<f64> = (0..=10).map(|tenth| 10.0 * f64::from(tenth)).collect();
    let throttle = Throttle {
        drift_percent_per_1000_rpm: 0.0,
        ..Throttle::uneven()
    };
    let plates = grips
        .iter()
        .map(|&grip| throttle.plate_percent(grip, 4000.0));
    let plates = plates.map(|plate| libm::round(10.0 * plate) / 10.0);
    let table = GripTableSpec {
        plate_percent: vec![plates.collect()],
        grip_percent: grips,
        rpm: Vec::new(),
        slope_min: 0.2,
        slope_max: 2.0,
        smoothness: 20.0,
        resolution: 0.1,
        roll_off: None,
    };
    JobSpec {
        id: "plover-690-spring".parse().expect("a slug"),
        title: "Plover 690 of the spring".to_owned(),
        notes: "Invented. Customer J. Marrow-Lind, for Quillfeather Dyno Rooms. The same parts as the one of the \
                autumn. Hard to hold at a quarter of the grip."
            .to_owned(),
        grip: BTreeMap::from([("street".parse().expect("a slug"), table)]),
        ..job(truth)
    }
}

/// Returns the table that the pulls after tuning ran with.
fn tuned_values(axes: &Axes) -> Vec<f64> {
    let rows = TUNED_TABLE.lines().filter(|line| !line.starts_with('#'));
    let cells = rows.skip(1).flat_map(|row| row.split(',').skip(1));
    let values: Vec<f64> = cells.map(|cell| cell.parse().expect("a number")).collect();
    assert_eq!(
        values.len(),
        axes.node_count(),
        "table_r2.csv has the job's axes"
    );
    values
}

/// Returns a run on the roller: what the bay logs of the engine, with the roller's torque and speed and the air.
fn roller_run(truth: &EngineTruth, values: &[f64], roller: &RollerOptions, seed: u64) -> Samples {
    let moments = roller::motion(truth, roller);
    let mut path = Path::default();
    for pair in moments.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        path.hold(from.engine_rpm, from.plate_percent, to.at_s - from.at_s);
    }
    let bay = BayOptions {
        rate_hz: roller.rate_hz,
        ..bay()
    };
    let mut samples = simulate_path(truth, values, &path, seed, &bay).samples;
    let mut dice = Dice::new(seed, Purpose::Bay);
    let air = roller.air.expect("the bay logs its air");
    for at_s in samples.offset_s.clone() {
        let now = moments.partition_point(|moment| moment.at_s <= at_s);
        let moment = moments[now.saturating_sub(1)];
        let mut put = |quantity, value: f64| {
            samples.channels.entry(quantity).or_default().push(value);
        };
        let speed = moment.engine_rpm / roller.ratio;
        put(
            Quantity::RollerSpeed,
            speed + roller.speed_noise_rpm * dice.normal(),
        );
        put(
            Quantity::RollerTorque,
            moment.roller_nm + roller.torque_noise_nm * dice.normal(),
        );
        put(Quantity::AmbientPressure, air.0);
        put(Quantity::AmbientTemperature, air.1);
        put(Quantity::RelativeHumidity, air.2);
    }
    samples
}

/// Returns a pull in which the hand stands at each of [`PLACES_PERCENT`] twice while engine speed rises.
fn hand_pull(truth: &EngineTruth, values: &[f64], throttle: &Throttle, seed: u64) -> Samples {
    let mut dice = Dice::new(seed, Purpose::Drive);
    let (mut path, mut grips) = (Path::default(), Vec::new());
    let (low_rpm, high_rpm, stay_s) = STAY;
    for &grip in PLACES_PERCENT.iter().chain(&PLACES_PERCENT) {
        let stay = throttle.stay_percent * dice.normal();
        let plate = |rpm: f64| (throttle.plate_percent(grip, rpm) + stay).clamp(0.0, 100.0);
        let from = grips.last().copied().unwrap_or(grip);
        path.move_to(low_rpm, plate(low_rpm), 1.0);
        let way = path.len() - grips.len();
        // The hand takes as long as the plate.
        grips.extend((1..=way).map(|step| from + (grip - from) * step as f64 / way as f64));
        let steps = libm::round(10.0 * stay_s);
        let mut step = 1.0;
        while step <= steps {
            let rpm = low_rpm + step / steps * (high_rpm - low_rpm);
            path.move_to(rpm, plate(rpm), 0.1);
            step += 1.0;
        }
        grips.resize(path.len(), grip);
    }
    let mut samples = simulate_path(truth, values, &path, seed, &bay()).samples;
    let steps = samples.offset_s.iter().map(|at_s| path.index(*at_s));
    let grip = steps.map(|step| grips[step] + 0.1 * dice.normal());
    let grip = grip.collect();
    samples.channels.insert(Quantity::GripAngle, grip);
    samples
}

/// Returns the files of `demo-data/earlier/`, save its commands and the table that they lead to.
pub(super) fn files() -> Vec<DemoFile> {
    let truth = sister();
    let spec = spec(&truth);
    let heading = [INVENTED, "See ../README.md."];
    let tuned = tuned_values(&truth.axes);
    let base = &truth.table.values;
    let before = RollerOptions {
        inertia_kg_m2: 12.0,
        rate_hz: 25.0,
        logs_torque: true,
        air: Some((98.4, 21.0, 55.0)),
        ..RollerOptions::default()
    };
    let again = RollerOptions {
        strength: 0.998,
        ..before.clone()
    };
    let after = RollerOptions {
        strength: TUNED_STRENGTH,
        air: Some((98.2, 24.0, 48.0)),
        ..before.clone()
    };
    let after_again = RollerOptions {
        strength: 1.003 * TUNED_STRENGTH,
        ..after.clone()
    };
    let slow = BayOptions {
        rate_hz: 10.0,
        ..bay()
    };
    let mixed = |values, seed| simulate(&truth, values, PullKind::Mixed, seed, &slow).samples;
    let logs = [
        ("earlier/before-mixed-1.csv", mixed(base, SEED)),
        ("earlier/before-mixed-2.csv", mixed(base, SEED + 10)),
        (
            "earlier/before-run-1.csv",
            roller_run(&truth, base, &before, SEED + 1),
        ),
        (
            "earlier/before-run-2.csv",
            roller_run(&truth, base, &again, SEED + 2),
        ),
        ("earlier/after-mixed-1.csv", mixed(&tuned, SEED + 3)),
        ("earlier/after-mixed-2.csv", mixed(&tuned, SEED + 13)),
        (
            "earlier/after-run-1.csv",
            roller_run(&truth, &tuned, &after, SEED + 4),
        ),
        (
            "earlier/after-run-2.csv",
            roller_run(&truth, &tuned, &after_again, SEED + 5),
        ),
        (
            "earlier/hand.csv",
            hand_pull(&truth, &tuned, &Throttle::uneven(), SEED + 6),
        ),
    ];
    let mut files = vec![
        DemoFile {
            name: "earlier/job.toml",
            text: job_toml(&spec, &heading, BESIDE),
        },
        super::base_table("earlier/base_table.csv", &truth),
        super::target("earlier/target_lambda.csv", &truth),
        percent_lacking("earlier/truth_percent.csv", &truth),
    ];
    files.extend(logs.map(|(name, samples)| DemoFile {
        name,
        text: csv::log(&samples),
    }));
    files
}
