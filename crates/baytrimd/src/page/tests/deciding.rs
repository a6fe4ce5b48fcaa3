//! Which changes are taken.

use super::house::{NOW, job, spec};
use crate::page::proposal::View;
use crate::page::proposal::aspect::Aspect;
use crate::page::proposal::take::{Rule, Take};

/// If this fails, fuel comes off by default where it was hardly measured.
#[test]
fn lean_ward_changes_on_borrowed_nodes_are_not_suggested() {
    let state = job(spec(), &|node| match node {
        0 => (3.0, 0.1),
        1 => (-3.0, 0.1),
        2 => (-3.0, 0.49),
        3 => (-3.0, 0.5),
        _ => (0.0, 1.0),
    });
    let proposal = &state.proposals[0].proposal;
    assert_eq!(Take::by(Rule::Usual, proposal).nodes(), [0, 3]);
    assert_eq!(Take::by(Rule::Proven, proposal).nodes(), [3]);
    assert_eq!(Take::by(Rule::All, proposal).nodes(), [0, 1, 2, 3]);
    assert_eq!(Take::by(Rule::None, proposal).count(), 0);
}

/// If this fails, a choice changes on its way through an address.
#[test]
fn a_choice_survives_its_address() {
    let state = job(spec(), &|node| {
        if node % 5 == 0 {
            (3.0, 0.9)
        } else {
            (0.0, 0.9)
        }
    });
    let proposal = &state.proposals[0].proposal;
    let take = Take::of(&[0, 5, 35], proposal);
    assert_eq!(take.code(), "120000008");
    assert_eq!(Take::from_code(&take.code(), proposal), Some(take));
    assert_eq!(Take::from_code("12000000", proposal), None, "too short");
    assert_eq!(Take::from_code("12000000g", proposal), None, "no digit");
    let all = Take::from_code("fffffffff", proposal).expect("a code");
    assert_eq!(
        all,
        Take::by(Rule::All, proposal),
        "nodes that don't change can't be taken"
    );
}

/// If this fails, a touch on a row's head does something else than take or leave all of it.
#[test]
fn a_line_is_taken_or_left_whole() {
    let state = job(spec(), &|node| {
        if node < 4 { (3.0, 0.9) } else { (0.0, 0.9) }
    });
    let proposal = &state.proposals[0].proposal;
    let mut take = Take::of(&[1], proposal);
    take.toggle(&[0, 1, 2, 5], proposal);
    assert_eq!(take.nodes(), [0, 1, 2]);
    take.toggle(&[0, 1, 2, 5], proposal);
    assert_eq!(take.count(), 0);
}

/// If this fails, every address of a proposal is longer than it need be, or a choice is lost between tabs.
#[test]
fn addresses_carry_the_choice_only_where_there_is_one() {
    let state = job(spec(), &|node| {
        if node < 4 { (3.0, 0.9) } else { (0.0, 0.9) }
    });
    let entry = &state.proposals[0];
    let mut view = View::first(&state, entry, NOW);
    let path = view.path();
    assert_eq!(view.aspect_path(Aspect::After), format!("{path}/after"));
    view.take = Take::of(&[1], &entry.proposal);
    assert_eq!(
        view.aspect_path(Aspect::After),
        format!("{path}/after/200000000")
    );
}
