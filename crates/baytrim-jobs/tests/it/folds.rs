//! Records, their bytes, and the job that they tell.

use baytrim_jobs::codec::{self, DecodeError};
use baytrim_jobs::state::{FoldError, Outcome};
use baytrim_jobs::verdict::Choice;
use baytrim_jobs::{JobState, verdict};
use baytrim_model::ids::{ProposalId, RequestId};
use baytrim_model::record::{CommentPlace, JobEvent, NodePlace};
use serde_json::Value;

use crate::house::{ask, fold, opened, proposed, record, revision, several};

/// If this fails, a record read back from the ledger is not the record that was written.
#[test]
fn records_survive_their_bytes() {
    let mut records = proposed(&[(7, 3.5), (8, 1.0 / 3.0)]);
    let state = fold(&records);
    let approval = verdict::approve(
        &state,
        &ask(&state, "pulled twice"),
        &Choice::whole(),
        &several(),
    )
    .expect("granted");
    records.push(record(approval, "reviewer", None));
    for record in &records {
        let bytes = codec::encode(record).expect("writable");
        let back = codec::decode(&bytes).expect("readable");
        assert_eq!(&back, record);
        assert_eq!(codec::encode(&back).expect("writable"), bytes);
    }
}

/// If this fails, a number that is none could be written and the job never opened again.
#[test]
fn records_that_could_not_be_read_back_are_not_written() {
    let mut records = opened();
    let mut bad = crate::house::proposal(&fold(&records), &[(7, 3.5)]);
    bad.nodes[3].lean_risk = f64::NAN;
    records.push(record(baytrim_jobs::propose::event(bad), "tuner", None));
    assert!(codec::encode(&records[0]).is_ok());
    assert!(codec::encode(&records[1]).is_err());
}

/// If this fails, an old program would read a later record wrongly instead of saying so.
#[test]
fn later_versions_are_refused() {
    let bytes = codec::encode(&opened()[0]).expect("writable");
    let text = String::from_utf8(bytes)
        .expect("JSON")
        .replace("\"version\":1", "\"version\":2");
    let error = codec::decode::<JobEvent>(text.as_bytes()).expect_err("too new");
    assert!(matches!(error, DecodeError::TooNew { found: 2 }), "{error}");
    assert!(matches!(
        codec::decode::<JobEvent>(b"{}"),
        Err(DecodeError::Malformed(_))
    ));
}

/// Returns `value` with something unknown in each of its objects in turn.
fn with_something_unknown(value: &Value, all: &mut Vec<Value>) {
    let children: Vec<(String, &Value)> = match value {
        Value::Object(map) => map
            .iter()
            .map(|(key, child)| (key.clone(), child))
            .collect(),
        Value::Array(list) => (0..)
            .map(|at: usize| at.to_string())
            .zip(list)
            .take(1)
            .collect(),
        _ => return,
    };
    for (key, child) in children {
        let mut below = Vec::new();
        with_something_unknown(child, &mut below);
        for changed in below {
            let mut whole = value.clone();
            match &mut whole {
                Value::Array(list) => list[0] = changed,
                whole => whole[&key] = changed,
            }
            all.push(whole);
        }
    }
    if value.is_object() {
        let mut whole = value.clone();
        whole["of_a_later_version"] = Value::Bool(true);
        all.push(whole);
    }
}

/// If this fails, an older program leaves out what it does not know of a later one's record, and decides on the rest:
/// an approval of half a table, say.
#[test]
fn records_with_something_unknown_are_refused() {
    let mut records = proposed(&[(7, 3.5), (8, 1.0 / 3.0)]);
    let state = fold(&records);
    let ask = ask(&state, "pulled twice");
    let approval = verdict::approve(&state, &ask, &Choice::whole(), &several());
    records.push(record(approval.expect("granted"), "reviewer", None));
    let node = NodePlace {
        rpm: 4000.0,
        plate_percent: 30.0,
    };
    for place in [
        CommentPlace::Node(node),
        CommentPlace::Grip { grip_percent: 20.0 },
    ] {
        let comment = JobEvent::CommentMade {
            proposal: ProposalId(1),
            number: 1,
            node: Some(place),
            text: "see p2".to_owned(),
        };
        records.push(record(comment, "reviewer", None));
    }
    let mut count = 0;
    for record in &records {
        let bytes = codec::encode(record).expect("writable");
        let mut changed = Vec::new();
        with_something_unknown(&serde_json::from_slice(&bytes).expect("JSON"), &mut changed);
        count += changed.len();
        for changed in changed {
            let bytes = serde_json::to_vec(&changed).expect("JSON");
            let decoded = codec::decode::<JobEvent>(&bytes);
            assert!(matches!(decoded, Err(DecodeError::Unknown(_))), "{changed}");
        }
    }
    assert!(count > 20, "{count}");
    let text = String::from_utf8(codec::encode(&records[0]).expect("writable")).expect("JSON");
    let later = text.replace("job_opened", "job_sold");
    let decoded = codec::decode::<JobEvent>(later.as_bytes());
    assert!(matches!(decoded, Err(DecodeError::Unknown(_))));
}

/// If this fails, the same records tell two different jobs, one by one or all at once.
#[test]
fn folding_step_by_step_is_folding_at_once() {
    let records = proposed(&[(7, 3.5)]);
    let mut stepwise = JobState::opened(&records[0]).expect("opens");
    stepwise.apply(&records[1]).expect("follows");
    assert_eq!(stepwise, fold(&records));
    assert_eq!(stepwise.record_count(), 2);
    assert_eq!(stepwise.head().id, revision(0));
}

/// If this fails, a ledger with a record out of place would be folded into a wrong table unseen.
#[test]
fn records_out_of_place_are_named() {
    let records = proposed(&[(7, 3.5)]);
    assert_eq!(
        JobState::fold(records[1..].iter()),
        Err(FoldError::NotOpened)
    );
    let twice = [records[0].clone(), records[0].clone()];
    assert_eq!(JobState::fold(twice.iter()), Err(FoldError::OpenedTwice(1)));
    let mut again = records.clone();
    again.push(records[1].clone());
    let error = JobState::fold(again.iter()).expect_err("c1 twice");
    assert_eq!(
        error.to_string(),
        "record 2 speaks of proposal c1, which does not fit what came before"
    );
}

/// If this fails, a request sent twice is done twice.
#[test]
fn request_ids_are_remembered() {
    let state = fold(&proposed(&[(7, 3.5)]));
    let outcome = |id: &str| state.outcome(Some(&RequestId(id.to_owned())));
    assert_eq!(outcome("open-1"), Some(Outcome::Opened));
    assert_eq!(outcome("propose-1"), Some(Outcome::Proposal(ProposalId(1))));
    assert_eq!(outcome("never"), None);
    assert_eq!(state.outcome(None), None);
}
