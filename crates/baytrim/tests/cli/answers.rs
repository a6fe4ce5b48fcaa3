//! Canned answers: the invented job quoll-1 of an invented shop. Nothing here was measured.

pub(crate) mod bays;
pub(crate) mod grip;
mod house;
pub(crate) mod library;
mod next;
pub(crate) mod power;
pub(crate) mod stages;
mod trace;

use baytrim_api::v1::proposal::State;
use baytrim_api::v1::{
    Axes, ChannelSuggestion, Comment, DoneChance, Engine, FilmBand, FitSummary, Fuel, GateCount,
    Job, JobStanding, Limits, NodeChange, NodeCoverage, Proposal, Pull, PullWarning, Revision,
    SensorBand, SensorReading, SuggestChannelsResponse, TableContent, Verdict, Wall,
};
use prost_types::Timestamp;

pub(crate) use house::{record, status};
pub(crate) use next::{plan, realised, reproduction};
pub(crate) use trace::node_trace;

/// 2026-03-14 09:26:53 UTC, in the middle of the invented job.
pub(crate) const MOMENT: Timestamp = Timestamp {
    seconds: 1_773_480_413,
    nanos: 589_000_000,
};

/// Thirty days after [`MOMENT`].
const LATER: Timestamp = Timestamp {
    seconds: MOMENT.seconds + 2_592_000,
    nanos: 0,
};

pub(crate) const ETAG: &str = "\"5b0c\"";

const RPM: [f64; 12] = [
    1500.0, 2000.0, 2500.0, 3000.0, 3750.0, 4500.0, 5250.0, 6000.0, 7000.0, 8000.0, 9000.0, 10500.0,
];
const PLATE_PERCENT: [f64; 8] = [0.0, 2.5, 5.0, 10.0, 20.0, 40.0, 70.0, 100.0];

pub(crate) fn suggestion() -> SuggestChannelsResponse {
    let channel = |quantity: &str, column: &str, unit: &str| ChannelSuggestion {
        quantity: quantity.to_owned(),
        column: column.to_owned(),
        unit: unit.to_owned(),
        certainty_fraction: 0.92,
        reason: "the name says so, and its numbers lie where such numbers lie".to_owned(),
        ..ChannelSuggestion::default()
    };
    SuggestChannelsResponse {
        channel_map: "[time]\ncolumn = \"Zeit\"\n".to_owned(),
        channels: vec![
            channel("time", "Zeit", "s"),
            channel("engine_speed", "Drehzahl", "rpm"),
            ChannelSuggestion {
                certainty_fraction: 0.55,
                doubt: "say where the plate is shut".to_owned(),
                rivals: vec!["Griff".to_owned()],
                ..channel("plate_angle", "Klappe", "percent")
            },
        ],
        missing: vec!["no column looks like lambda".to_owned()],
        notes: vec!["every fourth value is held".to_owned()],
        row_count: 4800,
        unused_columns: vec!["Gang".to_owned()],
        ..SuggestChannelsResponse::default()
    }
}

pub(crate) fn axes() -> Axes {
    Axes {
        rpm: RPM.to_vec(),
        plate_percent: PLATE_PERCENT.to_vec(),
    }
}

pub(crate) fn job() -> Job {
    Job {
        name: "jobs/quoll-1".to_owned(),
        title: "Quoll 700, open exhaust (invented)".to_owned(),
        notes: "Open airbox lid.\nCustomer wants it smooth at part throttle.".to_owned(),
        engine: Some(Engine {
            strokes: 4,
            displacement_cc: 689.0,
            cylinders: 2,
        }),
        fuel: Some(Fuel {
            display_name: "petrol E5".to_owned(),
            stoichiometric_afr: 14.29,
        }),
        axes: Some(axes()),
        content: TableContent::Percent.into(),
        resolution: 0.5,
        target_lambda_ratio: vec![0.95; 96],
        limits: Some(limits()),
        bays: vec!["east".to_owned(), "west".to_owned()],
        create_time: Some(MOMENT),
        creator: "kim".to_owned(),
        head_revision: "r0".to_owned(),
        pull_count: 3,
        open_proposals: vec!["c1".to_owned()],
        etag: "\"77\"".to_owned(),
        standing: JobStanding::InReview.into(),
        stage: "s2".to_owned(),
        ..Job::default()
    }
}

fn limits() -> Limits {
    Limits {
        step_percent: 10.0,
        total_percent: 25.0,
        neighbour_percent: 12.0,
        deadband_percent: 1.0,
        leanest_lambda_ratio: 1.05,
        walls: vec![Wall {
            rpm_min: 0.0,
            rpm_max: 1e9,
            plate_percent_min: 50.0,
            plate_percent_max: 1e9,
            lambda_ratio_max: 0.93,
        }],
        lean_confidence: 0.95,
        standard_error_percent_max: 3.0,
        visits_min: 2,
        borrowed_changes: false,
    }
}

pub(crate) fn pull() -> Pull {
    let gate = |name: &str, sample_count, refused_s, sentence: &str| GateCount {
        gate: name.to_owned(),
        sample_count,
        refused_s,
        sentence: sentence.to_owned(),
    };
    Pull {
        stage: "s1".to_owned(),
        mode: String::new(),
        grip_revision: String::new(),
        stay_count: 0,
        name: "jobs/quoll-1/pulls/p2".to_owned(),
        bay: "east".to_owned(),
        revision: "r0".to_owned(),
        source_name: "pull-2.csv".to_owned(),
        log_sha256: "9f".repeat(32),
        create_time: Some(MOMENT),
        creator: "kim".to_owned(),
        sample_count: 20_401,
        duration_s: 204.0,
        accepted_s: 131.5,
        refused: vec![
            gate("overrun_cut", 1230, 12.3, "fuel was cut on the overrun"),
            gate("recovery", 960, 9.6, "fuel had just come back after a cut"),
            gate("warm_up", 2040, 20.4, "the engine was not warm"),
            gate(
                "plate_rate",
                3020,
                30.2,
                "the plate was moving, or the wall film had not settled since",
            ),
        ],
        strip: strip(),
        delay: Some(bays::delay()),
        coverage: coverage(),
        warnings: vec![PullWarning {
            code: "cold_start".to_owned(),
            message: "A tenth of the pull was cold: let the engine warm up before logging."
                .to_owned(),
        }],
        film: vec![FilmBand {
            start_rpm: 1500.0,
            end_rpm: 4500.0,
            difference_percent: 0.8,
            standard_error_percent: 0.5,
            tip_in_s: 14.0,
            tip_out_s: 11.0,
        }],
        sensors: vec![SensorBand {
            start_rpm: 1500.0,
            end_rpm: 4500.0,
            read_s: 188.0,
            readings: [("lambda", -1.4), ("lambda_2", 1.5)]
                .map(|(sensor, difference_percent)| SensorReading {
                    sensor: sensor.to_owned(),
                    difference_percent,
                })
                .to_vec(),
        }],
        realised: None,
        channel_map_source: baytrim_api::v1::ChannelMapSource::Bay.into(),
        channel_map: "bays/east/maps/m2".to_owned(),
        recording: Some(bays::recording()),
        ..Pull::default()
    }
}

fn strip() -> Vec<String> {
    let span = |index: usize| match index {
        0..6 => "warm_up",
        14 | 15 | 33 | 48 => "overrun_cut",
        16 | 34 | 49 => "recovery",
        20..24 | 40..42 | 55 => "plate_rate",
        _ => "",
    };
    (0..60).map(|index| span(index).to_owned()).collect()
}

fn coverage() -> Vec<NodeCoverage> {
    nodes()
        .into_iter()
        .filter(|node| node.visits > 0)
        .map(|node| NodeCoverage {
            rpm: node.rpm,
            plate_percent: node.plate_percent,
            dwell_s: node.dwell_s,
            visits: node.visits,
        })
        .collect()
}

pub(crate) fn comment() -> Comment {
    Comment {
        number: 1,
        author: "robin".to_owned(),
        create_time: Some(MOMENT),
        text: "heard it knock here, once".to_owned(),
        rpm: Some(3000.0),
        plate_percent: Some(20.0),
        grip_percent: None,
    }
}

pub(crate) fn proposal() -> Proposal {
    let nodes = nodes();
    let change_count = nodes
        .iter()
        .filter(|node| node.proposed_percent.abs() > 0.0)
        .count();
    Proposal {
        grip_mode: String::new(),
        grip_rows: Vec::new(),
        name: "jobs/quoll-1/proposals/c1".to_owned(),
        state: State::Open.into(),
        base_revision: "r0".to_owned(),
        pulls: vec!["p1".to_owned(), "p2".to_owned(), "p3".to_owned()],
        create_time: Some(MOMENT),
        expire_time: Some(LATER),
        start: None,
        comments: vec![comment()],
        creator: "kim".to_owned(),
        fit: Some(FitSummary {
            estimator: "footprint 1".to_owned(),
            reading_count: 12_480,
            noise_percent: 2.1,
            episode_percent: 0.9,
            pull_percent: 0.6,
            sensor_percent: 1.0,
            calibration_factor: 1.12,
            off_target_percent: 6.37,
            remarks: vec!["p2 and p3 agree on every node that both visited.".to_owned()],
        }),
        content: "percent".to_owned(),
        rpm: RPM.to_vec(),
        plate_percent: PLATE_PERCENT.to_vec(),
        nodes,
        change_count: u32::try_from(change_count).unwrap(),
        etag: ETAG.to_owned(),
        verdict: None,
        done: Some(DoneChance {
            tolerance_percent: 3.0,
            node_count: 63,
            probability: 0.0,
            within_fraction: 0.41,
            proposed_probability: Some(0.62),
            proposed_within_fraction: Some(0.98),
        }),
        cautions: vec![
            "This is advice: a licensed, competent person decides what the engine runs on.".to_owned(),
            "Too lean at load destroys engines and hurts riders; listen for knock on the next pull.".to_owned(),
        ],
    }
}

pub(crate) fn decided(approved: bool) -> Proposal {
    let state = if approved {
        State::Approved
    } else {
        State::Rejected
    };
    let verdict = Verdict {
        approved,
        reviewer: "robin".to_owned(),
        create_time: Some(MOMENT),
        reason: "looks right".to_owned(),
        revision: if approved {
            "r1".to_owned()
        } else {
            String::new()
        },
        approved_node_count: if approved { 2 } else { 0 },
        ..Verdict::default()
    };
    Proposal {
        state: state.into(),
        verdict: Some(verdict),
        nodes: Vec::new(),
        ..proposal()
    }
}

/// Nodes over a smooth invented need, with every status and most limits among them.
fn nodes() -> Vec<NodeChange> {
    let node = |row: usize, speed: usize| {
        let (x, y) = (speed as f64 / 11.0, row as f64 / 7.0);
        let need = 13.0 * (3.1 * x).sin() * (0.4 + y) - 6.5 * y * y * x - 3.0 * (1.0 - y);
        let often = (3.4 - 5.0 * (x - 0.25 - 0.5 * y).abs()) * 2.0;
        let visits = (1..8).rev().find(|&count| f64::from(count) <= often);
        let visits = visits.unwrap_or(0);
        node_of(RPM[speed], PLATE_PERCENT[row], need, visits)
    };
    (0..8)
        .flat_map(|row| (0..12).map(move |speed| node(row, speed)))
        .collect()
}

fn node_of(rpm: f64, plate_percent: f64, need: f64, visits: u32) -> NodeChange {
    let error = 3.0 / (1.0 + f64::from(visits)) + 0.4;
    let (proposed, limited_by, status): (f64, &[&str], &str) = match visits {
        0 => (0.0, &["borrowed"], "unvisited"),
        1 => (0.0, &["visits"], "unproven"),
        _ if need.abs() < 1.0 => (0.0, &["deadband"], "on_target"),
        _ if need > 10.0 => (10.0, &["step", "resolution"], "limited"),
        _ if need < 0.0 && plate_percent > 50.0 => (-0.5, &["neighbour"], "limited"),
        _ if need < -1.645 * error => (
            need + 1.645 * error,
            &["lean_proof", "resolution"],
            "limited",
        ),
        _ if need < 0.0 => (0.0, &["lean_proof"], "unproven"),
        _ => (need, &["resolution"], "change"),
    };
    let proposed = (proposed * 2.0).round() / 2.0;
    let target = if plate_percent > 50.0 { 0.88 } else { 0.95 };
    let before = target * (1.0 + need / 100.0);
    let after = before / (1.0 + proposed / 100.0);
    NodeChange {
        rpm,
        plate_percent,
        before: 0.0,
        after: proposed,
        correction_percent: need,
        standard_error_percent: error,
        total_standard_error_percent: error.hypot(1.0),
        proposed_percent: proposed,
        dwell_s: 1.7 * f64::from(visits) + 0.25 * f64::from(visits * visits),
        visits,
        measured_fraction: 1.0 - 1.0 / (1.0 + f64::from(visits)),
        lambda_ratio_before: before,
        target_lambda_ratio: target,
        predicted_lambda_ratio: after,
        predicted_lambda_ratio_low: after * (1.0 - 0.0196 * error),
        predicted_lambda_ratio_high: after * (1.0 + 0.0196 * error),
        lean_risk: if need > 10.5 {
            0.02 * (need - 8.0)
        } else {
            0.001
        },
        limited_by: limited_by.iter().map(|&name| name.to_owned()).collect(),
        status: status.to_owned(),
    }
}

pub(crate) fn revision() -> Revision {
    let changes: Vec<f64> = nodes().iter().map(|node| node.proposed_percent).collect();
    Revision {
        grip_mode: String::new(),
        grip_percent: Vec::new(),
        name: "jobs/quoll-1/revisions/r1".to_owned(),
        in_force: true,
        origin: "approval of c1".to_owned(),
        create_time: Some(MOMENT),
        creator: "robin".to_owned(),
        reason: "holds looked right, knock quiet".to_owned(),
        content: "percent".to_owned(),
        rpm: RPM.to_vec(),
        plate_percent: PLATE_PERCENT.to_vec(),
        values: changes.clone(),
        total_percent: changes,
    }
}
