//! Verdicts: what may be approved, by what, and when not.

use baytrim_jobs::state::ProposalStanding;
use baytrim_jobs::verdict::Choice;
use baytrim_jobs::{JobState, Refusal, revert, verdict};
use baytrim_model::ids::{Actor, ProposalId, UnixMillis};
use baytrim_model::record::{JobEvent, JobRecord};

use crate::house::{ask, fold, opened, proposed, record, revision, several};

fn standing(state: &JobState) -> ProposalStanding {
    state.standing(state.proposal(ProposalId(1)).expect("there"), UnixMillis(0))
}

fn approved(changes: &[(usize, f64)], only: &[(f64, f64)]) -> Vec<JobRecord> {
    let mut records = proposed(changes);
    let state = fold(&records);
    let event = verdict::approve(
        &state,
        &ask(&state, "lambda meets target"),
        &Choice::of(only),
        &several(),
    );
    records.push(record(event.expect("granted"), "reviewer", None));
    records
}

fn refusal(result: Result<JobEvent, Refusal>) -> (&'static str, String) {
    let refusal = result.expect_err("refused");
    (refusal.reason(), refusal.to_string())
}

/// If this fails, an approval does not become the table that was approved.
#[test]
fn approval_makes_a_revision() {
    let state = fold(&approved(&[(7, 3.5), (8, -2.0)], &[]));
    assert_eq!(state.head().id, revision(1));
    assert_eq!(state.head().values[7..9], [3.5, -2.0]);
    assert_eq!(standing(&state), ProposalStanding::Approved);
}

/// If this fails, a reviewer who takes one node gets others with it.
#[test]
fn approval_takes_only_the_nodes_that_were_chosen() {
    let state = fold(&approved(&[(7, 3.5), (14, 2.0)], &[(3000.0, 5.0)]));
    assert_eq!(state.head().values[7], 3.5);
    assert_eq!(state.head().values[14], 0.0);
}

/// If this fails, a proposal against a table that is no more could change the one in force.
#[test]
fn stale_proposals_are_refused() {
    let mut records = approved(&[(7, 3.5)], &[]);
    let second = baytrim_jobs::propose::event(crate::house::proposal(&fold(&records), &[(9, 1.0)]));
    records.push(record(second, "tuner", None));
    let back = revert::event(
        &fold(&records),
        revision(0),
        "customer changed his mind",
        UnixMillis(0),
        &Actor("owner".to_owned()),
    );
    records.push(record(back.expect("granted"), "owner", None));
    let state = fold(&records);
    let entry = state.proposal(ProposalId(2)).expect("there");
    assert_eq!(
        state.standing(entry, UnixMillis(0)),
        ProposalStanding::Stale
    );
    let mut asked = ask(&state, "looks good");
    asked.proposal = ProposalId(2);
    asked.etag = verdict::etag(&entry.proposal);
    let (reason, message) = refusal(verdict::approve(
        &state,
        &asked,
        &Choice::of(&[]),
        &several(),
    ));
    assert_eq!(reason, "PROPOSAL_STALE");
    assert_eq!(
        message,
        "proposal quoll-1/c2 is stale: it was computed from r1, and r2 is in force; compute it again with `baytrim propose quoll-1`"
    );
    assert!(
        verdict::reject(&state, &asked, &several()).is_ok(),
        "a stale proposal can be tidied away"
    );
}

/// If this fails, two reviewers could both decide one proposal.
#[test]
fn second_verdict_is_told_who_was_first() {
    let state = fold(&approved(&[(7, 3.5)], &[]));
    let asked = ask(&state, "me too");
    let (reason, message) = refusal(verdict::reject(&state, &asked, &several()));
    assert_eq!(reason, "PROPOSAL_DECIDED");
    assert_eq!(
        message,
        "proposal quoll-1/c1 was approved by reviewer already, 2026-09-21 14:13:20 UTC, and became r1"
    );
}

/// If this fails, a verdict could be given without a reason, or on content that was never seen.
#[test]
fn verdicts_need_a_reason_and_the_right_etag() {
    let state = fold(&proposed(&[(7, 3.5)]));
    let blank = ask(&state, "  ");
    assert_eq!(
        refusal(verdict::approve(
            &state,
            &blank,
            &Choice::of(&[]),
            &several()
        ))
        .0,
        "FIELD_INVALID"
    );
    let mut other = ask(&state, "fine");
    other.etag = "00".to_owned();
    assert_eq!(
        refusal(verdict::approve(
            &state,
            &other,
            &Choice::of(&[]),
            &several()
        ))
        .0,
        "ETAG_MISMATCH"
    );
    other.etag = String::new();
    let (_, message) = refusal(verdict::approve(
        &state,
        &other,
        &Choice::of(&[]),
        &several(),
    ));
    assert_eq!(
        message,
        "etag: is empty; quote the etag of the proposal that was reviewed"
    );
    other.proposal = ProposalId(9);
    assert_eq!(
        refusal(verdict::approve(
            &state,
            &other,
            &Choice::of(&[]),
            &several()
        ))
        .0,
        "PROPOSAL_UNKNOWN"
    );
}

/// If this fails, a node could be approved that the table does not have or that nobody proposed.
#[test]
fn chosen_nodes_must_be_proposed() {
    let state = fold(&proposed(&[(7, 3.5)]));
    let asked = ask(&state, "fine");
    let (_, message) = refusal(verdict::approve(
        &state,
        &asked,
        &Choice::of(&[(3100.0, 5.0)]),
        &several(),
    ));
    assert_eq!(
        message,
        "nodes[0]: 3100 rpm, 5 % is no node of the table; name nodes by the breakpoints of both axes"
    );
    let (_, message) = refusal(verdict::approve(
        &state,
        &asked,
        &Choice::of(&[(1500.0, 5.0)]),
        &several(),
    ));
    assert!(
        message.contains("nothing is proposed for 1500 rpm, 5 %"),
        "{message}"
    );
    let empty = fold(&proposed(&[]));
    let (reason, _) = refusal(verdict::approve(
        &empty,
        &ask(&empty, "fine"),
        &Choice::of(&[]),
        &several(),
    ));
    assert_eq!(reason, "NOTHING_TO_APPROVE");
}

/// If this fails, taking half of a proposal can tear a step into the table that its limits forbid.
#[test]
fn subset_must_hold_the_neighbour_limit() {
    // 10 % beside 20 % holds the limit of 12 %; 20 % beside 0 does not.
    let state = fold(&proposed(&[
        (6, 10.0),
        (7, 10.0),
        (8, 20.0),
        (9, 10.0),
        (2, 10.0),
        (14, 10.0),
    ]));
    let asked = ask(&state, "fine");
    let (reason, message) = refusal(verdict::approve(
        &state,
        &asked,
        &Choice::of(&[(4500.0, 5.0)]),
        &several(),
    ));
    assert_eq!(reason, "SUBSET_BREAKS_NEIGHBOUR_LIMIT");
    assert!(message.contains("4500 rpm, 5 %"), "{message}");
    assert!(
        verdict::approve(&state, &asked, &Choice::of(&[]), &several()).is_ok(),
        "the whole holds it"
    );
}

/// If this fails, a revert rewrites history, or makes a revision of nothing.
#[test]
fn revert_puts_back_as_a_new_revision() {
    let mut records = approved(&[(7, 3.5)], &[]);
    let owner = Actor("owner".to_owned());
    let state = fold(&records);
    let event = revert::event(&state, revision(0), "rough at idle", UnixMillis(5), &owner);
    records.push(record(event.expect("granted"), "owner", None));
    let state = fold(&records);
    assert_eq!(state.head().id, revision(2));
    assert_eq!(state.head().values, state.spec.table.values);
    let again = revert::event(&state, revision(0), "again", UnixMillis(6), &owner);
    assert_eq!(refusal(again).0, "REVISION_ALREADY_IN_FORCE");
    let unknown = revert::event(&fold(&opened()), revision(3), "x", UnixMillis(6), &owner);
    assert_eq!(
        refusal(unknown).1,
        "job quoll-1 has no revision r3; its latest is r0"
    );
}
