//! The job sheet as PDF. What stands on it is read back from the PDF in `tests/browser`.

use baytrim_jobs::JobState;
use baytrim_ledger::Head;
use baytrim_model::ids::{Actor, ProposalId, RevisionId};
use baytrim_model::record::JobEvent;
use baytrim_model::revision::{Revision, RevisionOrigin, TableKind};

use super::house::{NOW, job, large_spec, record, spec};
use crate::sheet::{Sheet, render};

fn sheet(state: &JobState) -> Sheet {
    Sheet::of(state, &Head::EMPTY, None)
}

/// Approves all changes of `state`'s proposal, for a reason.
fn approve(state: &mut JobState, reason: &str) {
    let nodes = &state.proposals[0].proposal.nodes;
    let revision = Revision {
        id: RevisionId(1),
        origin: RevisionOrigin::Approval {
            proposal: ProposalId(1),
        },
        table: TableKind::Fuel,
        values: nodes.iter().map(|node| node.after).collect(),
        created_at: NOW,
        created_by: Actor("R. Quenby".to_owned()),
        reason: reason.to_owned(),
    };
    let event = JobEvent::ProposalApproved {
        proposal: ProposalId(1),
        reduced: Vec::new(),
        duty: None,
        nodes: (0..nodes.len()).collect(),
        revision: Box::new(revision),
    };
    state.apply(&record(event)).expect("follows");
}

/// If this fails, a job's sheet runs over more than four pages, or two askers get two files.
#[test]
fn a_sheet_is_short_and_the_same_for_all() {
    let mut wordy = spec();
    wordy.notes = "A very long story about the vehicle. ".repeat(400);
    for spec in [spec(), large_spec(), wordy] {
        let mut state = job(spec, &|node| (if node % 3 == 0 { 5.0 } else { -2.0 }, 0.9));
        approve(&mut state, &"because of the holds; ".repeat(90));
        let made = render(&sheet(&state)).expect("renders");
        assert!((1..=4).contains(&made.page_count), "{}", made.page_count);
        assert!(made.bytes.starts_with(b"%PDF-1.7"));
        assert!(made.bytes.len() < 400_000, "{}", made.bytes.len());
        let again = render(&sheet(&state)).expect("renders");
        assert!(again.bytes == made.bytes);
    }
}

/// If this fails, the sheet tells a customer another improvement than the numbers hold.
#[test]
fn before_and_after_are_what_the_estimate_says() {
    // Each node needs 6 % by the estimate and gets 4 %.
    let mut state = job(spec(), &|_| (4.0, 0.9));
    let before = sheet(&state).maps.expect("a proposal says it");
    assert!((before.off_percent[0] - 6.0).abs() < 1e-9);
    assert!((before.off_percent[1] - 6.0).abs() < 1e-9);
    approve(&mut state, "as proposed");
    let maps = sheet(&state).maps.expect("a proposal says it");
    assert!((maps.before[0].expect("visited") - 6.0).abs() < 1e-9);
    // 1.06 / 1.04 - 1 = 1.923 %.
    assert!((maps.after[0].expect("visited") - 1.923_076_923).abs() < 1e-6);
    assert!((maps.off_percent[1] - 1.923_076_923).abs() < 1e-6);
}

/// If this fails, letters that the sheet's font lacks stop it, or vanish.
#[test]
fn foreign_letters_do_not_stop_a_sheet() {
    let mut spec = spec();
    spec.title = "\u{30d7}\u{30ed}\u{30d0}\u{30fc} 690 \u{2212} \u{17d}lu\u{165}ou\u{10d}k\u{fd} \u{39a}\u{3b1}\u{3bb}\u{3ac}".to_owned();
    let state = job(spec, &|_| (1.0, 0.9));
    assert!(render(&sheet(&state)).expect("renders").page_count >= 1);
}
