//! Real drives of a road car through the whole shop: two drives must foretell a third.
//!
//! The logs are scan-tool logs of one petrol car, from the public data set declared free to everyone
//! by its author ("Detecting Anomalies in the Engine Coolant Sensor Using One-Class Classifiers",
//! IEEE document 8891367). They are no part of this project: without them the test is skipped.

use std::path::Path;

use serde_json::Value;

use crate::house::{House, file, real_logs};

const JOB: &str = "road-car-trims";

/// One warm row of a drive: engine speed, plate angle from the shut plate, ln of the trim factor.
type Row = (f64, f64, f64);

fn warm_rows(log: &Path) -> Vec<Row> {
    let text = std::fs::read_to_string(log).expect("readable");
    let mut lines = text.lines();
    let header: Vec<&str> = lines
        .next()
        .expect("a header")
        .split(',')
        .map(str::trim)
        .collect();
    let column = |name: &str| {
        header
            .iter()
            .position(|cell| *cell == name)
            .expect("the column")
    };
    let names = [
        "ENGINE_RPM ()",
        "THROTTLE ()",
        "SHORT_TERM_FUEL_TRIM_BANK_1 ()",
        "LONG_TERM_FUEL_TRIM_BANK_1 ()",
        "COOLANT_TEMPERATURE ()",
    ]
    .map(column);
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').map(str::trim).collect();
        names.map(|index| cells[index].parse::<f64>().expect("a number"))
    };
    let warm = lines
        .map(row)
        .filter(|row| row[0] > 500.0 && row[4] >= 70.0);
    warm.map(|[rpm, throttle, short, long, _]| {
        let need = (short / 100.0).ln_1p() + (long / 100.0).ln_1p();
        (rpm, throttle - 13.0, need)
    })
    .collect()
}

/// Bilinear reading of a proposal's estimates, held at the table's edges.
fn estimate_at(proposal: &Value, rpm: f64, plate: f64) -> f64 {
    let axis = |key: &str| -> Vec<f64> {
        let values = proposal[key].as_array().expect("axis").iter();
        values
            .map(|value| value.as_f64().expect("a number"))
            .collect()
    };
    let (speeds, plates) = (axis("rpm"), axis("plate_percent"));
    let place = |axis: &[f64], value: f64| {
        let value = value.clamp(axis[0], axis[axis.len() - 1]);
        let upper = axis
            .partition_point(|point| *point < value)
            .clamp(1, axis.len() - 1);
        (
            upper - 1,
            (value - axis[upper - 1]) / (axis[upper] - axis[upper - 1]),
        )
    };
    let ((column, u), (row, v)) = (place(&speeds, rpm), place(&plates, plate));
    let node = |row: usize, column: usize| {
        let percent = &proposal["nodes"][row * speeds.len() + column]["correction_percent"];
        (percent.as_f64().expect("a number") / 100.0).ln_1p()
    };
    let along = |row: usize| node(row, column) * (1.0 - u) + node(row, column + 1) * u;
    along(row) * (1.0 - v) + along(row + 1) * v
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| {
        (sum + value * value, count + 1.0)
    });
    f64::sqrt(sum / count)
}

fn mean(rows: &[Row]) -> f64 {
    rows.iter().map(|row| row.2).sum::<f64>() / rows.len() as f64
}

/// If this fails, what Baytrim learns from real drives is no better than one number for the whole
/// engine.
#[tokio::test]
async fn two_drives_foretell_the_third() {
    let Some(folder) = real_logs("obd_road_1hz") else {
        return;
    };
    let drives = ["long10", "drive10", "live37"].map(|name| folder.join(format!("{name}.csv")));
    let (mut plain, mut surface, mut shape, mut spread) = (0.0, 0.0, 0.0, 0.0);
    for held_out in 0..drives.len() {
        let data = tempfile::tempdir().expect("a folder");
        let house = House::open(data.path()).await;
        house
            .json(&[
                "job",
                "open",
                &file("docs/examples/jobs/road-car-trims.toml"),
            ])
            .await;
        let mut learned = Vec::new();
        for (index, drive) in drives.iter().enumerate() {
            if index != held_out {
                let log = drive.display().to_string();
                house
                    .json(&["pull", "submit", JOB, &log, "--bay", "road"])
                    .await;
                learned.extend(warm_rows(drive));
            }
        }
        let proposal = house.json(&["propose", JOB]).await;
        house.close().await;
        let rows = warm_rows(&drives[held_out]);
        let level = mean(&learned);
        let misses: Vec<Row> = rows
            .iter()
            .map(|&(rpm, plate, need)| (rpm, plate, need - estimate_at(&proposal, rpm, plate)))
            .collect();
        let own = mean(&rows);
        let shift = mean(&misses);
        let by_level = rms(rows.iter().map(|row| row.2 - level));
        let by_surface = rms(misses.iter().map(|row| row.2));
        let by_shape = rms(misses.iter().map(|row| row.2 - shift));
        let around_own = rms(rows.iter().map(|row| row.2 - own));
        println!(
            "{}: trims miss the other two's mean by {:.2} %, their surface by {:.2} %; with the day's level taken off, {:.2} % about the mean and {:.2} % about the surface",
            drives[held_out].file_stem().expect("named").display(),
            by_level * 100.0,
            by_surface * 100.0,
            around_own * 100.0,
            by_shape * 100.0
        );
        plain += by_level;
        surface += by_surface;
        spread += around_own;
        shape += by_shape;
    }
    assert!(surface < plain, "surface {surface}, mean {plain}");
    assert!(shape < spread, "shape {shape}, spread {spread}");
}
