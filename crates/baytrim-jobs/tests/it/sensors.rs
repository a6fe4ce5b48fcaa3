//! A job whose engine has a lambda sensor in each bank.

use std::collections::BTreeMap;

use baytrim_jobs::pulls::{self, PullBlobs};
use baytrim_jobs::{JobState, propose};
use baytrim_model::channel::{ChannelMap, EvidenceKind, Quantity, RepeatedTime, TimeChannel, Unit};
use baytrim_model::ids::{Actor, PullId, UnixMillis};
use baytrim_model::proposal::Proposal;
use baytrim_model::pull::ChannelMapSource;
use baytrim_model::recording::Recording;
use baytrim_model::samples::Samples;

use crate::house::{fold, opened, record};

/// A minute of holds, four seconds each, in a warm engine that reads a few percent rich; banks `apart` percent either side.
fn log(apart_percent: f64) -> Samples {
    let rows = 60 * 50;
    let of = |value: &dyn Fn(usize) -> f64| (0..rows).map(value).collect::<Vec<f64>>();
    let hold = |row: usize| row / 200;
    let lambda = |row: usize| 0.91 * (1.0 + 0.004 * ((row * 7919 % 101) as f64 / 50.0 - 1.0));
    let bank = |sign: f64| move |row: usize| lambda(row) / (1.0 + sign * apart_percent / 100.0);
    Samples {
        offset_s: of(&|row| row as f64 * 0.02),
        channels: BTreeMap::from([
            (
                Quantity::EngineSpeed,
                of(&|row| 3000.0 + 1500.0 * (hold(row) % 3) as f64),
            ),
            (
                Quantity::PlateAngle,
                of(&|row| if hold(row) % 2 == 0 { 25.0 } else { 10.0 }),
            ),
            (Quantity::CoolantTemperature, of(&|_| 85.0)),
            (Quantity::Lambda, of(&bank(1.0))),
            (Quantity::Lambda2, of(&bank(-1.0))),
        ]),
    }
}

fn proposed(apart_percent: f64) -> (JobState, Proposal) {
    let mut records = opened();
    let state = fold(&records);
    let bay = state.spec.bays.keys().next().expect("a bay").to_string();
    let map = ChannelMap {
        time: TimeChannel {
            column: None,
            unit: Unit::S,
            rate_hz: Some(50.0),
            repeated: RepeatedTime::Refuse,
        },
        channels: BTreeMap::new(),
        evidence: EvidenceKind::Lambda,
    };
    let circumstances = pulls::circumstances(&state, &bay, "", "", (map, ChannelMapSource::Sent));
    let circumstances = circumstances.expect("known");
    let reading = pulls::read(&state, &circumstances, &log(apart_percent)).expect("readable");
    let blobs = PullBlobs {
        log: "aa".to_owned(),
        fingerprint: "bb".to_owned(),
        recording: Recording {
            rate_hz: 50.0,
            jitter_s: 0.0,
            gap_s_max: 0.02,
            repeated_count: 0,
            channels: Vec::new(),
        },
        evidence: "cc".to_owned(),
    };
    let event = pulls::event(&state, &circumstances, "two banks", blobs, reading.summary);
    records.push(record(event.expect("is new"), "bay", None));
    let state = fold(&records);
    let actor = Actor("tuner".to_owned());
    let proposal = propose::plan(
        &state,
        &[PullId(1)],
        &[&reading.evidence],
        UnixMillis(1_790_000_000_000),
        &actor,
        None,
    );
    (state, proposal.expect("solvable"))
}

/// If this fails, fuel is taken from both banks on the mean of sensors that contradict each other: what they are apart
/// by must count as error of the sensors, and the proposal must say so.
#[test]
fn what_sensors_are_apart_by_counts_against_the_proof() {
    let (state, agreed) = proposed(0.2);
    let (_, apart) = proposed(4.0);
    assert_eq!(agreed.fit.sensor_percent, 1.0);
    // Two readings 4 % either side: their standard deviation is 5.7 %, that of their mean 4 %.
    assert!(
        (apart.fit.sensor_percent - 4.0).abs() < 0.05,
        "{:?}",
        apart.fit
    );
    let says = |proposal: &Proposal| {
        let remarks = proposal.fit.remarks.iter();
        remarks
            .filter(|remark| remark.starts_with("The lambda sensors of p1 are apart"))
            .count()
    };
    assert_eq!(
        (says(&agreed), says(&apart)),
        (0, 1),
        "{:?}",
        apart.fit.remarks
    );
    let told = &state.pulls[0].record.summary.sensors;
    assert!(
        !told.is_empty(),
        "a log of two sensors says how far they are apart"
    );
    let leaned = |proposal: &Proposal| {
        let nodes = proposal.nodes.iter();
        nodes.filter(|node| node.after < node.before).count()
    };
    assert!(
        leaned(&agreed) > 0,
        "a rich engine that is sure of it is leaned"
    );
    assert_eq!(leaned(&apart), 0, "the proof is gone");
}
