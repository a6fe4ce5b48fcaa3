//! Who may approve, until when, and with what reason.

use baytrim_jobs::state::ProposalStanding;
use baytrim_jobs::verdict::{self, Ask, Choice, Rules};
use baytrim_jobs::{JobState, Refusal, codec, comment, propose};
use baytrim_model::ids::{Actor, ProposalId, UnixMillis};
use baytrim_model::limits::LimitName;
use baytrim_model::proposal::Proposal;
use baytrim_model::record::{CommentPlace, Duty, JobEvent, JobRecord, NodePlace};

use crate::house::{ask, fold, opened, proposal, proposed, record, several};

/// When the house's records were made.
const MADE: UnixMillis = UnixMillis(1_790_000_000_000);

fn alone() -> Rules<'static> {
    Rules {
        one_person: true,
        ..several()
    }
}

fn asked_by(state: &JobState, by: &str) -> Ask {
    Ask {
        by: Actor(by.to_owned()),
        ..ask(state, "as seen on the dyno")
    }
}

fn approve(state: &JobState, by: &str, rules: &Rules<'_>) -> Result<JobEvent, Refusal> {
    verdict::approve(state, &asked_by(state, by), &Choice::whole(), rules)
}

/// Returns a job whose one proposal was turned by `change`.
fn with(changes: &[(usize, f64)], change: impl FnOnce(&mut Proposal)) -> JobState {
    let mut records = opened();
    let mut made = proposal(&fold(&records), changes);
    change(&mut made);
    records.push(record(propose::event(made), "tuner", None));
    fold(&records)
}

/// If this fails, one person changes a table alone where two were to look, or nobody can approve anything.
#[test]
fn who_asked_does_not_approve() {
    let state = fold(&proposed(&[(7, 3.5)]));
    for same in ["tuner", "Tuner"] {
        let refusal = approve(&state, same, &several()).expect_err("the same hand");
        assert_eq!(refusal.reason(), "SAME_HAND");
        assert!(
            refusal.to_string().contains("tuner asked for it"),
            "{refusal}"
        );
    }
    assert!(approve(&state, "reviewer", &several()).is_ok());
}

/// If this fails, somebody without a name counts as a second pair of eyes.
#[test]
fn a_name_that_nobody_knows_is_no_second_pair_of_eyes() {
    let state = fold(&proposed(&[(7, 3.5)]));
    let refusal = approve(&state, "unknown", &several()).expect_err("unknown");
    assert_eq!(refusal.reason(), "HAND_UNKNOWN");
    let state = with(&[(7, 3.5)], |made| {
        made.created_by = Actor("unknown".to_owned());
    });
    for by in ["reviewer", "unknown"] {
        let refusal = approve(&state, by, &several()).expect_err("unknown");
        assert_eq!(refusal.reason(), "HAND_UNKNOWN", "{by}");
    }
}

/// If this fails, a verdict of one person alone reads like one of two.
#[test]
fn a_shop_of_one_says_so_in_every_verdict() {
    let records = proposed(&[(7, 3.5)]);
    let state = fold(&records);
    let granted = [
        approve(&state, "tuner", &alone()).expect("granted"),
        verdict::reject(&state, &asked_by(&state, "tuner"), &alone()).expect("granted"),
    ];
    for event in granted {
        let mut records = records.clone();
        records.push(record(event, "tuner", None));
        let bytes = codec::encode(&records[2]).expect("writable");
        let text = String::from_utf8(bytes.clone()).expect("JSON");
        assert!(text.contains("\"duty\":\"one_person\""), "{text}");
        let back: JobRecord = codec::decode(&bytes).expect("readable");
        records[2] = back;
        let state = fold(&records);
        let verdict = state.proposals[0].verdict.as_ref().expect("decided");
        assert_eq!(verdict.duty, Some(Duty::OnePerson));
    }
    let usual = approve(&state, "reviewer", &several()).expect("granted");
    let usual = codec::encode(&record(usual, "reviewer", None)).expect("writable");
    let usual = String::from_utf8(usual).expect("JSON");
    assert!(
        !usual.contains("duty") && !usual.contains("reduced"),
        "{usual}"
    );
}

/// If this fails, whoever sees a mistake of their own can't take it back.
#[test]
fn ones_own_proposal_can_be_withdrawn() {
    let state = fold(&proposed(&[(7, 3.5)]));
    assert!(verdict::reject(&state, &asked_by(&state, "tuner"), &several()).is_ok());
}

/// If this fails, a change is put into an engine that has long become another, or a later rule alters what was
/// agreed when the proposal was made.
#[test]
fn proposals_expire_by_the_rule_of_their_day() {
    let state = with(&[(7, 3.5)], |made| made.valid_s = Some(3600));
    let standing = |at: i64| state.standing(&state.proposals[0], UnixMillis(at));
    assert_eq!(standing(MADE.0 + 3_599_999), ProposalStanding::Open);
    assert_eq!(standing(MADE.0 + 3_600_000), ProposalStanding::Expired);
    let mut late = ask(&state, "as seen");
    late.at = UnixMillis(MADE.0 + 3_600_000);
    let refusal = verdict::approve(&state, &late, &Choice::whole(), &several());
    let refusal = refusal.expect_err("expired");
    assert_eq!(refusal.reason(), "PROPOSAL_EXPIRED");
    assert_eq!(
        refusal.to_string(),
        "proposal quoll-1/c1 expired 2026-09-21 15:13:20 UTC: the rules of the shop gave it 1 hour; compute it again with `baytrim propose quoll-1`"
    );
    assert!(
        verdict::reject(&state, &late, &several()).is_ok(),
        "an expired proposal can be tidied away"
    );
    let ever = fold(&proposed(&[(7, 3.5)]));
    let far = UnixMillis(i64::MAX);
    assert_eq!(
        ever.standing(&ever.proposals[0], far),
        ProposalStanding::Open
    );
}

/// If this fails, setting the clock back makes an expired proposal good again.
#[test]
fn a_clock_set_back_revives_nothing() {
    let mut records = opened();
    let mut made = proposal(&fold(&records), &[(7, 3.5)]);
    made.valid_s = Some(3600);
    records.push(record(propose::event(made.clone()), "tuner", None));
    made.id = ProposalId(2);
    let mut later = record(propose::event(made), "tuner", None);
    later.at = UnixMillis(MADE.0 + 7_200_000);
    records.push(later);
    let state = fold(&records);
    assert_eq!(
        state.standing(&state.proposals[0], MADE),
        ProposalStanding::Expired
    );
    let mut back = ask(&state, "as seen");
    back.at = MADE;
    let refusal = verdict::approve(&state, &back, &Choice::whole(), &several());
    assert_eq!(refusal.expect_err("expired").reason(), "PROPOSAL_EXPIRED");
}

/// If this fails, a reviewer who gives no reason is not told which nodes ask for one most.
#[test]
fn a_missing_reason_names_the_nodes_that_ask_for_it() {
    let changes = [(7, 3.5), (8, -2.0), (9, 2.0), (10, 1.0), (14, -1.0)];
    let state = with(&changes, |made| {
        made.nodes[7].limited_by = vec![LimitName::ALL[0]];
        made.nodes[9].measured_fraction = 0.49;
    });
    let silent = ask(&state, " ");
    let refusal = verdict::approve(&state, &silent, &Choice::whole(), &several());
    let text = refusal.expect_err("no reason").to_string();
    assert_eq!(
        text,
        "reason: is 0 bytes long (3000 rpm, 5 % was held back by a limit; 4500 rpm, 5 % becomes leaner; 6000 rpm, 5 % is borrowed from its neighbours; 1 more nodes ask for it too); say why in 1 to 2000 bytes; the record keeps it"
    );
    let (rpm, plate_percent) = state.spec.axes.position(10);
    let plain = Choice::of(&[(rpm, plate_percent)]);
    let refusal = verdict::approve(&state, &silent, &plain, &several());
    let text = refusal.expect_err("no reason").to_string();
    assert!(text.starts_with("reason: is 0 bytes long; "), "{text}");
}

/// If this fails, a proposal keeps no comment, keeps it under another's number, or can be flooded.
#[test]
fn comments_are_numbered_and_bounded() {
    let mut records = proposed(&[(7, 3.5)]);
    let node = CommentPlace::Node(NodePlace {
        rpm: 3000.0,
        plate_percent: 5.0,
    });
    for number in 1..=comment::COMMENTS_MAX {
        let state = fold(&records);
        let made = comment::event(&state, ProposalId(1), Some(node), "knocks").expect("granted");
        records.push(record(made, "reviewer", None));
        assert_eq!(fold(&records).proposals[0].comments.len(), number);
    }
    let full = comment::event(&fold(&records), ProposalId(1), None, "more");
    assert_eq!(full.expect_err("full").reason(), "COMMENTS_FULL");
    let bytes = codec::encode(&records[2]).expect("writable");
    let back: JobRecord = codec::decode(&bytes).expect("readable");
    assert_eq!(back, records[2]);
    let mut twice = records[..3].to_vec();
    twice.push(records[2].clone());
    let error = JobState::fold(twice.iter()).expect_err("number 1 twice");
    assert!(error.to_string().contains("comment 1 on c1"), "{error}");
}
