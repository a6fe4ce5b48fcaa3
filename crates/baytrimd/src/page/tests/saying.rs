//! What the pages say.

use std::sync::Arc;

use baytrim_jobs::JobBrief;

use super::house::{NOW, job, large_spec, spec};
use crate::page::proposal::aspect::Aspect;
use crate::page::proposal::decide_form::Draft;
use crate::page::proposal::take::{Rule, Take};
use crate::page::proposal::{self, View};
use crate::page::{compare, inbox, revision};

/// Largest page, in bytes: what a tablet on a workshop's network shows at once.
const PAGE_BYTES_MAX: usize = 200_000;

fn shown(state: &baytrim_jobs::JobState, aspect: Aspect, node: Option<usize>) -> String {
    let mut view = View::first(state, &state.proposals[0], NOW);
    view.aspect = aspect;
    view.node = node;
    proposal::page(&view).into_string()
}

/// If this fails, the inbox hides what waits, or the one figure that matters.
#[test]
fn the_inbox_says_what_waits() {
    let state = job(spec(), &|node| {
        if node < 3 { (4.0, 0.9) } else { (0.0, 0.9) }
    });
    let brief = JobBrief::of(&state);
    let page = inbox::page(&[brief], &[Arc::new(state)], None, NOW).into_string();
    for words in [
        "4.2 %",
        "off target",
        "3 nodes would change",
        "proposals/c1",
        "just now",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
}

/// If this fails, a reader of the table sees a number without its sign, or a held change without its letter.
#[test]
fn cells_carry_sign_and_mark() {
    let state = job(spec(), &|node| match node {
        0 => (4.0, 0.9),
        1 => (-3.0, 0.9),
        2 => (-2.0, 0.2),
        _ => (0.0, 0.9),
    });
    let page = shown(&state, Aspect::Change, None);
    assert!(page.contains("+4.0<i>s</i>"), "{page}");
    assert!(page.contains("\u{2212}3.0<i>s</i>"), "{page}");
    assert!(
        page.contains("left\"><a href"),
        "the borrowed lean-ward change is left out: {page}"
    );
    assert!(page.contains("\u{2212}2.0<i>s~</i>"), "{page}");
    assert!(
        page.contains("held to the largest change of one proposal"),
        "{page}"
    );
    assert!(
        page.contains(
            "1 change that would take fuel off where less than half was measured is left out"
        ),
        "{page}"
    );
}

/// If this fails, a reviewer who asks why is not told what held the node, how sure it is, or how lean it may end.
#[test]
fn a_node_says_why() {
    let state = job(spec(), &|node| {
        if node == 7 { (4.0, 0.9) } else { (0.0, 0.9) }
    });
    let page = shown(&state, Aspect::Change, Some(7));
    for words in [
        "Held to the largest change of one proposal.",
        "+6.0 % fuel, 95 % between +3.8 and +8.2",
        "90 % here, the rest borrowed from neighbours",
        "4.0 s in 3 visits",
        "0.910, 95 % between 0.880 and 0.920",
        "chance of ending leaner 1.0 %",
        "id=\"at\"",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
}

/// If this fails, cautions have wandered away from where the decision is made.
#[test]
fn cautions_stand_above_the_decision() {
    let state = job(spec(), &|_| (1.5, 0.9));
    let page = shown(&state, Aspect::Change, None);
    let at = |words: &str| page.find(words).unwrap_or_else(|| panic!("{words}"));
    assert!(at("id=\"decide\"") < at("Too lean a mixture under load destroys engines"));
    assert!(at("Too lean a mixture under load destroys engines") < at("name=\"reason\""));
    assert!(at("name=\"reason\"") < at("/approve"));
}

/// If this fails, Enter in the name's field approves a proposal.
#[test]
fn enter_in_a_field_presses_nothing() {
    let state = job(spec(), &|_| (1.5, 0.9));
    for aspect in Aspect::ALL {
        let page = shown(&state, aspect, None);
        let form = page.split("<form").nth(1).expect("a form");
        let button = form.split("<button").nth(1).expect("a button");
        assert!(
            button.starts_with(" type=\"submit\" disabled hidden>"),
            "{button}"
        );
    }
}

/// If this fails, what somebody typed becomes part of the page's own text.
#[test]
fn typed_text_stays_text() {
    let mut spec = spec();
    spec.title = "<script>alert(1)</script>".to_owned();
    let page = shown(&job(spec, &|_| (1.5, 0.9)), Aspect::Change, None);
    assert!(!page.contains("<script>alert"), "{page}");
}

/// If this fails, the largest usual table is too heavy for the first look, or a page breaks the policy of no inline style.
#[test]
fn a_large_table_is_a_light_page() {
    let state = job(large_spec(), &|node| {
        if node % 2 == 0 {
            (9.5, 0.2)
        } else {
            (-9.5, 0.2)
        }
    });
    for aspect in Aspect::ALL {
        let page = shown(&state, aspect, None);
        let limit = if aspect == Aspect::Choose {
            PAGE_BYTES_MAX * 3 / 2
        } else {
            PAGE_BYTES_MAX
        };
        assert!(
            page.len() < limit,
            "{}: {} bytes",
            aspect.as_str(),
            page.len()
        );
        assert!(!page.contains("style="), "{}", aspect.as_str());
    }
}

/// If this fails, the result of a choice is shown as if everything had been taken.
#[test]
fn after_shows_only_what_is_taken() {
    let state = job(spec(), &|node| {
        if node == 0 { (10.0, 0.9) } else { (0.0, 0.9) }
    });
    let entry = &state.proposals[0];
    let mut view = View::first(&state, entry, NOW);
    view.aspect = Aspect::After;
    // 15 % lacking, 10 % given: 1.15 / 1.10 - 1 = 4.5 %.
    assert!(
        proposal::page(&view)
            .into_string()
            .contains("+4.5<small>10.0")
    );
    view.take = Take::by(Rule::None, &entry.proposal);
    assert!(
        proposal::page(&view)
            .into_string()
            .contains("+15.0<small>0.0")
    );
}

/// If this fails, a revision or a comparison shows other values than the record holds.
#[test]
fn revisions_and_comparisons_show_values() {
    let mut spec = spec();
    spec.table.values[0] = 12.3;
    let state = job(spec, &|_| (0.0, 0.9));
    let base = &state.revisions[0];
    assert!(
        revision::page(&state, base, &Draft::default())
            .into_string()
            .contains("12.3")
    );
    let mut richer = base.clone();
    richer.values[0] = 23.53;
    let change = compare::change_percent(&state, base, &richer);
    // 1.2353 / 1.123 - 1 = 10 %.
    assert!((change[0] - 10.0).abs() < 1e-9);
    assert_eq!(
        compare::sentence(&change),
        "More fuel at 1 node, less at 0, the same at 35; from 0.0 % to +10.0 %."
    );
}

/// If this fails, a reviewer learns only after writing a reason that the limits forbid the choice.
#[test]
fn an_impossible_choice_is_told_beforehand() {
    let state = job(spec(), &|node| {
        if node < 2 { (20.0, 0.9) } else { (0.0, 0.9) }
    });
    let entry = &state.proposals[0];
    let mut view = View::first(&state, entry, NOW);
    view.take = Take::of(&[0], &entry.proposal);
    let page = proposal::page(&view).into_string();
    assert!(page.contains("This choice can't be approved"), "{page}");
    view.take = Take::by(Rule::None, &entry.proposal);
    let page = proposal::page(&view).into_string();
    assert!(page.contains("No change is chosen"), "{page}");
}
