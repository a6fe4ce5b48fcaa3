//! Bays: their records, folded.

use baytrim_jobs::bay::{BayOutcome, set_channel_map};
use baytrim_jobs::state::FoldError;
use baytrim_jobs::{BayState, Fold, Refusal, codec};
use baytrim_model::channel::Unit;
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
