//! Real road logs of a scan tool: one to two rows a second, values held for seconds, trims only.
//!
//! The logs are not part of the project; without `../shared/data` these tests say that they skip.
#![expect(clippy::print_stdout, reason = "a test that skips says so")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use baytrim_estimate::{Fit, FitSettings, PullContext, PullEvidence, fit, read_pull};
use baytrim_model::axis::{Axes, Axis};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::engine::Engine;
use baytrim_model::gate::GateSettings;
use baytrim_model::samples::Samples;
use baytrim_model::table::{BaseTable, TableContent};

fn folder() -> Option<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/obd_road_1hz");
    if root.is_dir() {
        return Some(root);
    }
    println!("SKIPPED: {} is absent", root.display());
    None
}

/// Reads a drive; whole seconds that repeat are spread evenly, engine-off rows are left out.
fn drive(folder: &Path, name: &str) -> Samples {
    let text = std::fs::read_to_string(folder.join(name)).expect("the drive is there");
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
            .position(|head| head.trim_end_matches("()").trim() == name)
            .expect("a column")
    };
    let wanted = [
        "ENGINE_RUN_TINE",
        "ENGINE_RPM",
        "THROTTLE",
        "COOLANT_TEMPERATURE",
        "SHORT_TERM_FUEL_TRIM_BANK_1",
        "LONG_TERM_FUEL_TRIM_BANK_1",
    ];
    let places = wanted.map(column);
    let rows: Vec<[f64; 6]> = lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            places.map(|place| {
                cells
                    .get(place)
                    .and_then(|cell| cell.trim().parse().ok())
                    .unwrap_or(f64::NAN)
            })
        })
        .filter(|row: &[f64; 6]| row[1] > 400.0)
        .collect();
    let mut offset_s = Vec::new();
    let mut start = 0;
    while start < rows.len() {
        let same = rows[start..]
            .iter()
            .take_while(|row| (row[0] - rows[start][0]).abs() < 1e-9)
            .count();
        let next = rows
            .get(start + same)
            .map_or(rows[start][0] + 1.0, |row| row[0]);
        let span_s = (next - rows[start][0]).clamp(0.1, 4.0);
        for index in 0..same {
            offset_s.push(rows[start][0] + span_s * index as f64 / same as f64);
        }
        start += same;
    }
    let quantities = [
        Quantity::EngineSpeed,
        Quantity::PlateAngle,
        Quantity::CoolantTemperature,
        Quantity::ShortTermTrim,
        Quantity::LongTermTrim,
    ];
    let channels: BTreeMap<_, _> = quantities
        .into_iter()
        .enumerate()
        .map(|(index, quantity)| (quantity, rows.iter().map(|row| row[index + 1]).collect()))
        .collect();
    Samples { offset_s, channels }
}

struct Car {
    engine: Engine,
    axes: Axes,
    target: Vec<f64>,
    table: BaseTable,
    trim: Vec<f64>,
    gates: GateSettings,
}

impl Car {
    fn new() -> Self {
        let axes = Axes {
            rpm: Axis::new(
                "rpm",
                vec![700.0, 1200.0, 1700.0, 2200.0, 2800.0, 3500.0, 4500.0],
            )
            .expect("sorted"),
            plate_percent: Axis::new(
                "plate",
                vec![13.0, 16.0, 18.0, 20.0, 23.0, 28.0, 36.0, 50.0, 85.0],
            )
            .expect("sorted"),
        };
        let nodes = axes.node_count();
        Self {
            engine: Engine {
                strokes: 4,
                displacement_cc: 1500.0,
                cylinders: 4,
            },
            axes,
            target: vec![1.0; nodes],
            table: BaseTable {
                content: TableContent::Factor,
                resolution: 0.001,
                values: vec![1.0; nodes],
            },
            trim: vec![0.0; nodes],
            gates: GateSettings {
                overrun_plate_percent_max: 0.0,
                ..GateSettings::default()
            },
        }
    }

    fn evidence(&self, samples: &Samples) -> PullEvidence {
        let context = PullContext {
            engine: &self.engine,
            axes: &self.axes,
            target_lambda: &self.target,
            table: &self.table,
            trim_in_force: &self.trim,
            gates: &self.gates,
            delay: DelayChoice::Identify,
            evidence: EvidenceKind::Trims,
        };
        let reading = read_pull(samples, &context).expect("reads");
        println!(
            "{} samples, {:.0} s accepted, {:?}",
            reading.summary.sample_count, reading.summary.accepted_s, reading.summary.refused
        );
        reading.evidence
    }

    fn fit(&self, pulls: &[&PullEvidence]) -> Fit {
        let settings = FitSettings {
            pull_percent: 2.0,
            ..FitSettings::default()
        };
        fit(&self.axes, pulls, &settings).expect("fits")
    }
}

const DRIVES: [&str; 3] = ["long10.csv", "live37.csv", "drive10.csv"];

/// Standard errors counted row by row are five to fifteen times too small on such logs: two drives would
/// then contradict each other at every node.
#[test]
fn two_drives_agree_within_their_standard_errors() {
    let Some(folder) = folder() else { return };
    let car = Car::new();
    let fits: Vec<Fit> = DRIVES
        .iter()
        .map(|name| car.fit(&[&car.evidence(&drive(&folder, name))]))
        .collect();
    let mut squares = Vec::new();
    for (a, b) in [(0, 1), (0, 2), (1, 2)] {
        let (a, b): (&Fit, &Fit) = (&fits[a], &fits[b]);
        for node in 0..car.axes.node_count() {
            if a.dwell_s[node] > 5.0 && b.dwell_s[node] > 5.0 {
                let variance = a.standard_error[node].powi(2) + b.standard_error[node].powi(2);
                squares.push((a.theta[node] - b.theta[node]).powi(2) / variance);
            }
        }
    }
    let rms = (squares.iter().sum::<f64>() / squares.len() as f64).sqrt();
    println!(
        "{} pairs of nodes, standardised difference {rms:.2}",
        squares.len()
    );
    assert!(
        squares.len() > 10 && rms < 2.0 && rms > 0.2,
        "{rms} over {} pairs",
        squares.len()
    );
}

/// A surface from two drives must say more of the third than their mean does, save for its level,
/// which shifts from trip to trip.
#[test]
fn two_drives_predict_the_third() {
    let Some(folder) = folder() else { return };
    let car = Car::new();
    let samples: Vec<Samples> = DRIVES.iter().map(|name| drive(&folder, name)).collect();
    let evidence: Vec<PullEvidence> = samples
        .iter()
        .map(|samples| car.evidence(samples))
        .collect();
    let mut better = 0;
    for held in 0..3 {
        let others: Vec<&PullEvidence> = (0..3)
            .filter(|&drive| drive != held)
            .map(|drive| &evidence[drive])
            .collect();
        let fitted = car.fit(&others);
        let own = car.fit(&[&evidence[held]]);
        let nodes: Vec<usize> = (0..car.axes.node_count())
            .filter(|&node| own.dwell_s[node] > 5.0 && fitted.dwell_s[node] > 5.0)
            .collect();
        let weight: f64 = nodes.iter().map(|&node| own.dwell_s[node]).sum();
        let mean = |values: &[f64]| {
            nodes
                .iter()
                .map(|&node| own.dwell_s[node] * values[node])
                .sum::<f64>()
                / weight
        };
        let level = mean(&own.theta) - mean(&fitted.theta);
        let (mut by_surface, mut by_mean) = (0.0, 0.0);
        for &node in &nodes {
            by_surface +=
                own.dwell_s[node] * (own.theta[node] - fitted.theta[node] - level).powi(2) / weight;
            by_mean += own.dwell_s[node] * (own.theta[node] - mean(&own.theta)).powi(2) / weight;
        }
        let (by_surface, by_mean) = (100.0 * by_surface.sqrt(), 100.0 * by_mean.sqrt());
        println!(
            "{}: {by_surface:.2} % by the surface, {by_mean:.2} % by the mean, {} nodes",
            DRIVES[held],
            nodes.len()
        );
        better += u32::from(by_surface < by_mean);
    }
    assert!(better >= 2, "better on {better} of 3 drives");
}
