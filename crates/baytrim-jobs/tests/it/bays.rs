//! Bays: their records, folded.

use baytrim_jobs::bay::{BayOutcome, set_channel_map};
use baytrim_jobs::bay_delay::expected_delay;
use baytrim_jobs::state::FoldError;
use baytrim_jobs::{BayState, Fold, Refusal, codec};
use baytrim_model::channel::Unit;
use baytrim_model::engine::Engine;
use baytrim_model::ids::{BayName, ChannelMapId, RequestId};
use baytrim_model::record::BayRecord;

/// A record as the first version wrote it.
const RECORD: &str = r##"{"version":1,"at":1793000000000,"by":"Ines","request_id":"set-0001","kind":"channel_map_set","id":"m1","map":{"time":{"column":"Time","unit":"s","repeated":"refuse"},"channels":{"engine_speed":{"column":"Speed","unit":"rpm","scale":1.0,"offset":0.0}},"evidence":"lambda"},"text":"# by hand\n","reason":"new meter"}"##;

fn bay() -> BayName {
    "east".parse().expect("a good name")
}

fn record() -> BayRecord {
    codec::decode(RECORD.as_bytes()).expect("readable")
}

/// If this fails, bays that were written by the first version cannot be read any more.
#[test]
fn records_of_the_first_version_are_read() {
    let record = record();
    let bytes = codec::encode(&record).expect("writable");
    assert_eq!(String::from_utf8(bytes).expect("UTF-8"), RECORD);
    let state = BayState::begin(&record).expect("folds");
    let entry = state.map_in_force().expect("a map");
    assert_eq!(entry.id, ChannelMapId(1));
    assert_eq!(entry.map.time.unit, Unit::S);
    assert_eq!(
        (entry.text.as_str(), entry.reason.as_str()),
        ("# by hand\n", "new meter")
    );
    let request = RequestId("set-0001".to_owned());
    assert_eq!(
        state.outcome_before(&request),
        Some(BayOutcome::MapSet(ChannelMapId(1)))
    );
}

/// If this fails, two maps share a number, or a ledger with a hole is taken for whole.
#[test]
fn maps_are_numbered_without_holes() {
    let first = record();
    let mut state = BayState::begin(&first).expect("folds");
    let again = state.take(&first).expect_err("m1 twice");
    let twice = FoldError::OutOfOrder {
        record: 1,
        what: "channel map m1".to_owned(),
    };
    assert_eq!(again, twice);
    assert_eq!(state.record_count(), 1);
    let map = state.maps[0].map.clone();
    let event = set_channel_map(&bay(), &state, &map, "# other remarks\n", "").expect("is new");
    state.take(&BayRecord { event, ..first }).expect("follows");
    assert_eq!(
        state.map(&bay(), None).expect("in force").id,
        ChannelMapId(2)
    );
}

/// If this fails, the history of a bay fills with maps that change nothing, or with endless reasons.
#[test]
fn a_map_must_change_something() {
    let state = BayState::begin(&record()).expect("folds");
    let (map, text) = (&state.maps[0].map, &state.maps[0].text);
    let same = set_channel_map(&bay(), &state, map, text, "").expect_err("the same");
    let id = ChannelMapId(1);
    assert_eq!(same, Refusal::ChannelMapInForce { bay: bay(), id });
    let long = "x".repeat(2001);
    let refused = set_channel_map(&bay(), &state, map, "", &long).expect_err("too long");
    assert_eq!(refused.reason(), "FIELD_INVALID");
}

/// A record of a told delay, as the first version that keeps them wrote it.
const TOLD: &str = r#"{"version":1,"at":1793000000000,"by":"Ines","kind":"delay_learnt","job":"quoll-1","pull":"p1","displacement_cc":650.0,"delay":{"model":{"cycles":1.1,"gas_volume_l":1.3,"lag_s":0.08},"standard_error":{"cycles":0.2,"gas_volume_l":0.2,"lag_s":0.01}}}"#;

fn told(job: &str, gas_volume_l: f64, lag_s: f64) -> BayRecord {
    let text = TOLD
        .replace("quoll-1", job)
        .replace(
            "\"gas_volume_l\":1.3",
            &format!("\"gas_volume_l\":{gas_volume_l}"),
        )
        .replace("\"lag_s\":0.08", &format!("\"lag_s\":{lag_s}"));
    codec::decode(text.as_bytes()).expect("readable")
}

/// If this fails, what a pull told of a bay's delay is lost, or one job's engine is read with another's.
#[test]
fn a_told_delay_is_expected_again() {
    let record: BayRecord = codec::decode(TOLD.as_bytes()).expect("readable");
    let bytes = codec::encode(&record).expect("writable");
    assert_eq!(String::from_utf8(bytes).expect("UTF-8"), TOLD);
    let engine = |displacement_cc| Engine {
        strokes: 4,
        displacement_cc,
        cylinders: 2,
    };
    let [own, other] = ["quoll-1", "wombat-1"].map(|job| job.parse().expect("a name"));
    assert_eq!(
        expected_delay(&BayState::default(), &own, &engine(650.0)),
        None
    );
    let mut state = BayState::begin(&record).expect("folds");
    // The same job leans on its own word, and a later one replaces it.
    let first = expected_delay(&state, &own, &engine(650.0)).expect("told");
    assert_eq!(first, state.delays[0].delay);
    state.take(&told("quoll-1", 1.4, 0.08)).expect("follows");
    assert_eq!(state.delays.len(), 1);
    let second = expected_delay(&state, &own, &engine(650.0)).expect("told");
    assert!((second.model.gas_volume_l - 1.4).abs() < 1e-12);
    // Another vehicle: gas goes with displacement, the lag stays, the cycles are the engine's own, all surer known
    // with more jobs and never as sure as within one.
    let far = expected_delay(&state, &other, &engine(1300.0)).expect("told");
    assert!((far.model.gas_volume_l - 2.8).abs() < 1e-9, "{far:?}");
    assert!((far.model.lag_s - 0.08).abs() < 1e-9 && (far.model.cycles - 1.2).abs() < 1e-9);
    assert!(far.standard_error.gas_volume_l / 2.8 > second.standard_error.gas_volume_l / 1.4);
    state.take(&told("numbat-1", 1.4, 0.08)).expect("follows");
    let surer = expected_delay(&state, &other, &engine(1300.0)).expect("told");
    assert!(surer.standard_error.lag_s < far.standard_error.lag_s);
}
