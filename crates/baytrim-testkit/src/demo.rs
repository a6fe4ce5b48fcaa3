//! The invented shop's demo files: one job with its tables and three pulls, and a job before it.

mod earlier;

use baytrim_model::axis::{Axes, Axis};
use baytrim_model::bay::BaySetup;
use baytrim_model::job::JobSpec;
use baytrim_model::library::Vehicle;
use baytrim_model::limits::{Limits, Wall};
use baytrim_model::table::TableContent;

use crate::bay::BayOptions;
use crate::csv;
use crate::drive::PullKind;
use crate::job_file::{Beside, job_toml};
use crate::simulate::simulate;
use crate::truth::{EngineTruth, TruthOptions};

/// Seed of the demo's engine and of its first pull; the next pulls count on from it.
pub const DEMO_SEED: u64 = 161;

/// One demo file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DemoFile {
    /// Its name in `demo-data/`.
    pub name: &'static str,
    /// Its text, UTF-8.
    pub text: String,
}

const INVENTED: &str = "INVENTED: shop, vehicle, customer and numbers come from a simulator.";

/// Returns the demo's engine: a twin of 692 cc with a table of effective injector times.
///
/// # Panics
/// Never: the breakpoints written here increase.
pub fn engine() -> EngineTruth {
    let rpm = [
        1500, 2000, 2500, 3000, 3500, 4000, 4750, 5500, 6250, 7000, 7750, 8500, 9250, 10_000,
    ];
    let plate = [0, 2, 4, 7, 10, 15, 20, 30, 40, 60, 80, 100];
    let axis = |name: &str, breakpoints: &[i32]| {
        let breakpoints = breakpoints.iter().map(|&value| f64::from(value)).collect();
        Axis::new(name, breakpoints).expect("the listed breakpoints increase")
    };
    let options = TruthOptions {
        content: Some(TableContent::EffectiveTimeMs),
        cylinders: Some(2),
        displacement_cc: Some(692.0),
        axes: Some(Axes {
            rpm: axis("rpm", &rpm),
            plate_percent: axis("plate_percent", &plate),
        }),
        ..TruthOptions::default()
    };
    EngineTruth::from_seed(DEMO_SEED, &options)
}

/// Returns the demo's job.
///
/// # Panics
/// Never: the names written here are slugs.
pub fn job(truth: &EngineTruth) -> JobSpec {
    let wall = |plate_percent_min: f64, lambda_max: f64| Wall {
        rpm_min: 0.0,
        rpm_max: 1e9,
        plate_percent_min,
        plate_percent_max: 1e9,
        lambda_max,
    };
    let bays = ["east", "west"].map(|name| (name.parse().expect("a slug"), BaySetup::default()));
    let id = "plover-690".parse().expect("a slug");
    JobSpec {
        title: "Plover 690, open silencer".to_owned(),
        notes: "Invented. Customer R. Tamsin-Vale, for Quillfeather Dyno Rooms. Open silencer, \
                freer air filter, camshaft as delivered. Pops when shut, hole at part throttle."
            .to_owned(),
        limits: Limits {
            walls: vec![wall(30.0, 0.98), wall(60.0, 0.93)],
            ..Limits::default()
        },
        vehicle: Some(Vehicle {
            model: "Plover 690".to_owned(),
            generation: String::new(),
            parts: vec!["open silencer".to_owned(), "freer air filter".to_owned()],
        }),
        bays: bays.into(),
        ..truth.job_spec(id)
    }
}

/// Returns what the demo's pulls were logged with: a good header sensor in the bay `east`, 20 rows a second.
pub fn bay() -> BayOptions {
    BayOptions {
        bias_percent: 0.4,
        ..BayOptions::default()
    }
}

/// Returns the demo's pulls, all under the base table: kind, file name, and the bay at the time.
fn pulls() -> [(PullKind, &'static str, BayOptions); 3] {
    let morning = BayOptions {
        coolant_start_c: 48.0,
        heating_s: 8.0,
        ..bay()
    };
    [
        (PullKind::Holds, "pull-1-holds.csv", morning),
        (PullKind::Sweeps, "pull-2-sweeps.csv", bay()),
        (PullKind::Ride, "pull-3-ride.csv", bay()),
    ]
}

/// What lies beside a job file.
const BESIDE: Beside<'static> = Beside {
    table: "base_table.csv",
    target: "target_lambda.csv",
};

fn table(
    name: &'static str,
    truth: &EngineTruth,
    values: &[f64],
    decimals: usize,
    what: &str,
) -> DemoFile {
    let comments = [INVENTED, what];
    DemoFile {
        name,
        text: csv::table(&truth.axes, values, "plate_percent", decimals, &comments),
    }
}

fn base_table(name: &'static str, truth: &EngineTruth) -> DemoFile {
    let what = "Effective injector time in ms; rpm across, plate percent down.";
    table(name, truth, &truth.table.values, 3, what)
}

fn target(name: &'static str, truth: &EngineTruth) -> DemoFile {
    let what = "Lambda wanted; rpm across, plate percent down.";
    table(name, truth, &truth.target_lambda, 3, what)
}

fn percent_lacking(name: &'static str, truth: &EngineTruth) -> DemoFile {
    let needs = truth.theta_at_nodes().into_iter();
    let percent: Vec<f64> = needs.map(|need| 100.0 * libm::expm1(need)).collect();
    let what = "The answer: fuel that the base table lacks at each node, percent.";
    table(name, truth, &percent, 2, what)
}

/// Returns all files of `demo-data/` that the seed makes.
pub fn files() -> Vec<DemoFile> {
    let truth = engine();
    let heading = [INVENTED, "See README.md beside this file."];
    let mut files = vec![
        DemoFile {
            name: "job.toml",
            text: job_toml(&job(&truth), &heading, BESIDE),
        },
        base_table(BESIDE.table, &truth),
        target(BESIDE.target, &truth),
        percent_lacking("truth_percent.csv", &truth),
    ];
    for (seed, (kind, name, bay)) in (DEMO_SEED..).zip(pulls()) {
        let pull = simulate(&truth, &truth.table.values, kind, seed, &bay);
        files.push(DemoFile {
            name,
            text: csv::log(&pull.samples),
        });
    }
    files.extend(earlier::files());
    files
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::{engine, files, job};

    /// The demo files in the project would not be those that the stated seed makes.
    #[test]
    fn the_committed_demo_files_come_out_again_byte_by_byte() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data");
        let mut bytes = 0;
        for file in files() {
            let path = folder.join(file.name);
            let committed = std::fs::read_to_string(&path).expect("a committed demo file");
            assert!(
                committed == file.text,
                "{} differs: run `cargo run --release -p baytrim-testkit --example make_demo`",
                file.name
            );
            bytes += file.text.len();
        }
        assert!(bytes < 3 << 20, "{bytes} bytes of demo data are too many");
    }

    /// The demo's job could not be opened.
    #[test]
    fn the_demo_job_is_valid() {
        assert_eq!(job(&engine()).problems(), Vec::new());
    }
}
