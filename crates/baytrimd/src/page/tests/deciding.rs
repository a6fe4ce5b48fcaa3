//! Which changes are taken.

use super::house::{NOW, job, spec};
use crate::page::proposal::aspect::Aspect;
use crate::page::proposal::decide_form::choice_of;
use crate::page::proposal::take::{Rule, Take};
use crate::page::proposal::{self, View};

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

/// If this fails, a share is lost or changed on its way through an address, or one that is none is taken.
#[test]
fn a_share_survives_its_address() {
    let state = job(spec(), &|node| {
        if node < 4 { (3.0, 0.9) } else { (0.0, 0.9) }
    });
    let proposal = &state.proposals[0].proposal;
    let take = Take::of(&[0], proposal).with_share(40);
    assert_eq!(take.code(), "100000000-40");
    assert_eq!(Take::from_code(&take.code(), proposal), Some(take));
    for none in ["0", "101", "-3", "half", "50.5", ""] {
        assert_eq!(Take::share_of(none), None, "{none}");
        let code = format!("100000000-{none}");
        assert_eq!(Take::from_code(&code, proposal), None, "{code}");
    }
}

/// If this fails, a node's own share is lost or changed on its way through an address, or counts for a node that is left out.
#[test]
fn own_shares_survive_their_address() {
    let state = job(spec(), &|node| {
        if node < 4 { (3.0, 0.9) } else { (0.0, 0.9) }
    });
    let proposal = &state.proposals[0].proposal;
    let take = Take::of(&[0, 1], proposal).with_share(40);
    let take = take.with_own(1, Some(70)).with_own(2, Some(9));
    assert_eq!(take.code(), "300000000-40_1.70");
    assert_eq!(Take::from_code(&take.code(), proposal), Some(take.clone()));
    assert_eq!([0, 1, 2].map(|node| take.share_at(node)), [40, 70, 0]);
    assert_eq!(take.with_own(1, None).code(), "300000000-40");
    let left = Take::from_code("100000000_1.70", proposal).expect("a code");
    assert_eq!(left.code(), "100000000", "node 1 is not taken");
    for none in ["_1", "_1.0", "_1.101", "_x.5", "_1.5.5", "_1.-5"] {
        let code = format!("300000000{none}");
        assert_eq!(Take::from_code(&code, proposal), None, "{code}");
    }
}

/// If this fails, a node's own share changes other nodes, or the verdict is asked for another value than is shown.
#[test]
fn one_node_can_be_taken_in_part() {
    let state = job(spec(), &|node| {
        if node < 2 { (10.0, 0.9) } else { (0.0, 0.9) }
    });
    let proposal = &state.proposals[0].proposal;
    let mut view = View::first(&state, &state.proposals[0], NOW);
    view.take = view.take.with_own(1, Some(30));
    view.node = Some(1);
    assert!((view.value(0) - 10.0).abs() < 1e-9 && (view.value(1) - 3.0).abs() < 1e-9);
    let choice = choice_of(&state, proposal, &view.take);
    let values: Vec<Option<f64>> = choice.nodes.iter().map(|node| node.value).collect();
    assert_eq!(values, [None, Some(view.value(1))]);
    let page = proposal::page(&view).into_string();
    for words in [
        "+10.0<i>s</i></a>",
        "+10.0<i>s</i><small>+3.0</small>",
        ", 1 by a share of its own",
        "name=\"own-share\" min=\"1\" max=\"100\" step=\"1\" value=\"30\"",
        // 0.95 / 1.03 = 0.922.
        "+3.0 % fuel, 3.0 %; lambda then 0.922",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    // The table stores halves: a tenth of ten is two of them, a fiftieth is none.
    for (share, is_too_little) in [(10, false), (2, true)] {
        view.take = view.take.with_own(1, Some(share));
        let page = proposal::page(&view).into_string();
        let is_told = page.contains("less than the table can store");
        assert_eq!(is_told, is_too_little, "{share}: {page}");
    }
}

/// If this fails, a reviewer who takes less than proposed sees the table, or the risk, of the whole change.
#[test]
fn less_than_proposed_is_shown_as_less() {
    let state = job(spec(), &|node| {
        if node == 0 { (10.0, 0.9) } else { (0.0, 0.9) }
    });
    let mut view = View::first(&state, &state.proposals[0], NOW);
    view.aspect = Aspect::After;
    view.take = view.take.with_share(50);
    assert!((view.value(0) - 5.0).abs() < 1e-9);
    let page = proposal::page(&view).into_string();
    // 15 % lacking, 5 % given: 1.15 / 1.05 - 1 = 9.5 %.
    assert!(page.contains("+9.5<small>5.0"), "{page}");
    assert!(page.contains(", 50 % of each"), "{page}");
}

/// If this fails, somebody writes a reason first and learns then that they may not approve.
#[test]
fn who_may_not_approve_is_told_before() {
    let state = job(spec(), &|_| (1.5, 0.9));
    let mut view = View::first(&state, &state.proposals[0], NOW);
    let open = proposal::page(&view).into_string();
    assert!(!open.contains("Not yours to approve"), "{open}");
    view.bars.approve = Some("a second pair of eyes decides".to_owned());
    let page = proposal::page(&view).into_string();
    let at = |words: &str| {
        page.find(words)
            .unwrap_or_else(|| panic!("{words}: {page}"))
    };
    assert!(
        at("Not yours to approve. </strong>A second pair of eyes decides.") < at("name=\"reason\"")
    );
    assert!(page.contains("/approve\" disabled data-barred"), "{page}");
    assert!(
        !page.contains("/reject\" disabled"),
        "withdrawing stays possible: {page}"
    );
}
