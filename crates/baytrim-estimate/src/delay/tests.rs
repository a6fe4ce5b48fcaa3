//! The search for the delay on real logs whose delay is known otherwise: gas analysers behind a sampling line.
//!
//! A sampling line has one delay whatever the engine does. With a second to each litre the search's volume is that
//! delay, and its cycles are made too short to matter. The logs are no part of the project; without `../shared/data`
//! these tests say that they skip.
#![expect(clippy::print_stdout, reason = "a test that skips says so")]

use std::path::Path;

use baytrim_model::bay::DelayModel;

use super::identify::identify;
use super::scene::{Scene, SceneRow};
use crate::film::Film;
use crate::frame::MIXING_SHARE;

/// Seconds of a cycle that is too short to matter.
const NO_CYCLE_S: f64 = 0.005;
/// What is believed before the log: two seconds, give or take a factor of 2.5.
const PRIOR: DelayModel = DelayModel {
    cycles: 1.2,
    gas_volume_l: 2.0,
    lag_s: 0.09,
};

/// Returns the cells of a log, none where it is absent or a cell is no number.
fn log(name: &str, header_rows: usize) -> Option<Vec<Vec<f64>>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../../shared/data")
        .join(name);
    let Ok(text) = std::fs::read_to_string(&path) else {
        println!("SKIPPED: {} is absent", path.display());
        return None;
    };
    let cells = |line: &str| -> Vec<f64> {
        let cells = line.split(',').map(|cell| cell.trim().parse());
        cells.map(|cell| cell.unwrap_or(f64::NAN)).collect()
    };
    Some(text.lines().skip(header_rows).map(cells).collect())
}

/// Returns a scene in which `made` is the richness of the gas where the line begins and `read` what comes out of it.
fn scene(made: &[f64], fuelled: &[bool], read: &[f64], step_s: f64) -> Scene {
    let mut film = Film::default();
    let rows = (0..made.len())
        .map(|row| SceneRow {
            offset_s: row as f64 * step_s,
            cycle_s: NO_CYCLE_S,
            s_per_l: 1.0,
            phi: read[row],
            made: SceneRow::made(
                &mut film,
                if row == 0 { 0.0 } else { step_s },
                made[row],
                1.0,
                f64::from(u8::from(fuelled[row])),
                0.0,
                !made[row].is_finite(),
            ),
            restarts: row == 0,
        })
        .collect();
    Scene::new(rows)
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// An engine test bench at 10 Hz (Bosch-Engine-Datasets, CC BY-SA 4.0; every column standardised): from the flag of a
/// fuel cut to an oxygen analyser. If this fails, the edges of cuts do not tell the delay of a real log. Counted cut
/// by cut, the first row in which oxygen has risen comes 1.0 s after the flag (median; quartiles 0.9 and 1.1).
#[test]
fn fuel_cuts_tell_the_delay_of_an_oxygen_analyser() {
    const STEP_S: f64 = 0.1;
    let Some(log) = log("bench_10hz/gengine1_raw_000018.csv", 0) else {
        return;
    };
    let column = |place: usize| log.iter().map(|row| row[place]).collect::<Vec<f64>>();
    let (cut, oxygen) = (column(4), column(10));
    let half_flag = 0.5 * (cut.iter().copied().fold(f64::MIN, f64::max) + median(cut.clone()));
    let fuelled: Vec<bool> = cut.iter().map(|&flag| flag < half_flag).collect();
    let air = oxygen.iter().copied().fold(f64::MIN, f64::max);
    let usual = median(oxygen.clone());
    // Oxygen runs against richness: all of it is there in a cut, hardly any with the engine at work.
    let read: Vec<f64> = oxygen
        .iter()
        .map(|oxygen| (air - oxygen) / (air - usual))
        .collect();
    let scene = scene(&vec![1.0; read.len()], &fuelled, &read, STEP_S);
    let (_, found) = identify(&scene, &PRIOR, None, None).expect("rows enough");

    // The same cut by cut, without any model: when oxygen has gone a share of the way to that of air.
    let gone = |share: f64| {
        let starts = (1..fuelled.len()).filter(|&row| {
            fuelled[row - 1] && !fuelled[row] && read[row] > 0.8 && row + 40 < read.len()
        });
        let times: Vec<f64> = starts
            .filter_map(|row| {
                let level = read[row] * (1.0 - share);
                let at = (row..row + 40).find(|&later| read[later + 1] < level)?;
                let part = (read[at] - level) / (read[at] - read[at + 1]);
                Some(((at - row) as f64 + part) * STEP_S)
            })
            .collect();
        assert!(times.len() >= 15, "{} cuts", times.len());
        median(times)
    };
    let (first_s, half_s) = (gone(0.05), gone(0.5));
    let typical = found.typical.expect("searched");
    let transport_s = (1.0 - MIXING_SHARE) * found.model.gas_volume_l;
    println!(
        "oxygen analyser: first sign after {first_s:.2} s, half way after {half_s:.2} s; found {transport_s:.2} s of \
         delay, {:.2} s +- {:.2} s with its lag",
        typical.delay_s, typical.standard_error_s
    );
    assert!((0.8..=1.1).contains(&first_s), "{first_s}");
    assert!((transport_s - first_s).abs() < 0.2, "{found:?}");
    assert!((typical.delay_s - half_s).abs() < 0.15, "{found:?}");
}

/// A vehicle with a portable analyser at 1 Hz (`pems.1` of the R package pems.utils 0.3.0.8): the meter of the
/// air-fuel ratio and carbon dioxide are two seconds apart. If this fails, a delay of whole rows is not found in a log
/// as slow as that.
#[test]
fn the_air_fuel_ratio_tells_the_delay_of_carbon_dioxide() {
    let Some(log) = log("pems_afr_1hz/pems1.csv", 1) else {
        return;
    };
    // The meter's top end stands for no fuel at all.
    let richness = |ratio: f64| if ratio < 150.0 { 14.6 / ratio } else { 0.0 };
    let made: Vec<f64> = log.iter().map(|row| richness(row[6])).collect();
    let read: Vec<f64> = log.iter().map(|row| row[3] / 14.2).collect();
    let fuelled = vec![true; made.len()];
    let scene = scene(&made, &fuelled, &read, 1.0);
    let (_, found) = identify(&scene, &PRIOR, None, None).expect("rows enough");

    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let agreement = |lag: usize| {
        let (left, right) = (&made[..made.len() - lag], &read[lag..]);
        let (left_mean, right_mean) = (mean(left), mean(right));
        let pairs = left.iter().zip(right);
        let products = pairs.map(|(a, b)| (a - left_mean) * (b - right_mean));
        products.sum::<f64>() / left.len() as f64
    };
    let best = (0..8).max_by(|&a, &b| agreement(a).total_cmp(&agreement(b)));
    let typical = found.typical.expect("searched");
    println!(
        "carbon dioxide: {best:?} rows by cross-correlation, found {:.2} s +- {:.2} s of delay and lag",
        typical.delay_s, typical.standard_error_s
    );
    assert_eq!(best, Some(2));
    assert!((typical.delay_s - 2.0).abs() < 0.5, "{found:?}");
}
