//! Measures how often the finder of false lean readings finds what is there, and what is not:
//! `cargo run -p baytrim-estimate --example false_lean_rates -- FIRST_SEED ENGINES [ROWS_SKIPPED]`.
#![expect(
    clippy::print_stdout,
    reason = "an example that prints what it measured"
)]

use baytrim_estimate::{
    FalseLean, FitSettings, PullContext, Suspect, false_lean, fit_whole, read_pull,
};
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

/// One fault with what it is put into.
struct Row {
    name: &'static str,
    cause: Option<FalseLean>,
    kind: PullKind,
    surface_rms_percent: Option<f64>,
    break_it: fn(&mut BayOptions, u64),
}

fn row(name: &'static str, cause: Option<FalseLean>, break_it: fn(&mut BayOptions, u64)) -> Row {
    Row {
        name,
        cause,
        kind: PullKind::Mixed,
        surface_rms_percent: None,
        break_it,
    }
}

fn rows() -> Vec<Row> {
    vec![
        row("sound, mixed", None, |_, _| {}),
        Row {
            kind: PullKind::Ride,
            ..row("sound, ride", None, |_, _| {})
        },
        Row {
            surface_rms_percent: Some(14.0),
            ..row("sound, needs of 14 %", None, |_, _| {})
        },
        row("leak, 0.3 l/s", Some(FalseLean::Leak), |bay, _| {
            bay.leak_at_1_l_per_s = 0.3;
        }),
        row("leak, 1 l/s", Some(FalseLean::Leak), |bay, _| {
            bay.leak_at_1_l_per_s = 1.0;
        }),
        row(
            "secondary air 90 s",
            Some(FalseLean::SecondaryAir),
            |bay, pull| {
                if pull == 0 {
                    bay.secondary_air_until_s = 90.0;
                }
            },
        ),
        row(
            "lost cylinder",
            Some(FalseLean::LostCylinder),
            |bay, pull| {
                if pull == 1 {
                    bay.lost_cylinder_from_s = 120.0;
                }
            },
        ),
        row("misfire x 20", Some(FalseLean::Misfire), |bay, _| {
            bay.misfire_scale = 20.0;
        }),
        row("misfire x 60", Some(FalseLean::Misfire), |bay, _| {
            bay.misfire_scale = 60.0;
        }),
        row(
            "drift 8 % in 10 min",
            Some(FalseLean::SensorDrift),
            |bay, pull| {
                if pull == 2 {
                    bay.drift_percent = 8.0;
                }
            },
        ),
    ]
}

/// Returns the suspicions about three pulls of an engine.
fn suspects(row: &Row, seed: u64) -> Vec<Suspect> {
    let options = TruthOptions {
        surface_rms_percent: row.surface_rms_percent,
        ..TruthOptions::default()
    };
    let truth = EngineTruth::from_seed(seed, &options);
    let spec = truth.job_spec("rates".parse().expect("a name"));
    let trim = vec![0.0; truth.axes.node_count()];
    let context = PullContext::of_job(&spec, &trim);
    let pulls: Vec<_> = (0..3)
        .map(|pull| {
            let mut bay = BayOptions::from_seed(seed);
            (row.break_it)(&mut bay, pull);
            let log = simulate(
                &truth,
                &truth.table.values,
                row.kind,
                seed * 10 + pull,
                &bay,
            );
            read_pull(&log.samples, &context)
                .expect("shapes fit")
                .evidence
        })
        .collect();
    let pulls: Vec<_> = pulls.iter().collect();
    let (_, posterior) = fit_whole(&truth.axes, &pulls, &FitSettings::default()).expect("solvable");
    false_lean(&context, &pulls, &posterior).expect("shapes fit")
}

fn main() {
    let words: Vec<u64> = std::env::args()
        .filter_map(|word| word.parse().ok())
        .collect();
    let (first, engines, skipped) = match words.as_slice() {
        [first, engines] => (*first, *engines, 0),
        [first, engines, skipped] => (*first, *engines, *skipped),
        _ => (101, 30, 0),
    };
    println!(
        "{:<24} {:>8} {:>8} {:>8}   likeliest at 50 % and more",
        "", "refused", "right", "warned"
    );
    for row in rows().iter().skip(usize::try_from(skipped).unwrap_or(0)) {
        let (mut refused, mut right, mut warned) = (0, 0, 0);
        let mut told = Vec::new();
        for seed in first..first + engines {
            let found = suspects(row, seed);
            let Some(likeliest) = found.first().filter(|found| found.probability >= 0.5) else {
                continue;
            };
            let sure = likeliest.probability >= 0.95;
            refused += u32::from(sure);
            warned += 1;
            right += u32::from(sure && Some(likeliest.cause) == row.cause);
            let size = 100.0 * likeliest.size;
            told.push(format!("{seed}:{}:{size:.1}", likeliest.cause.as_str()));
        }
        println!(
            "{:<24} {refused:>8} {right:>8} {warned:>8}   {}",
            row.name,
            told.join(" ")
        );
    }
}
