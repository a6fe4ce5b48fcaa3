//! How much of one node's change is taken: said, and chosen.

use maud::{Markup, html};

use super::View;
use super::decide_form::lean_risk;
use super::node::{chance, unit};
use crate::page::grid::place;
use crate::page::mark;
use crate::page::number::{breakpoint, counted, decimals, fixed, signed};

/// Most nodes named; the rest is counted, and marked in the table.
const NAMED_MAX: usize = 8;

/// Returns the fuel change that a node gets with what is taken, percent, where that is part of what is proposed.
#[expect(
    clippy::float_cmp,
    reason = "both values come from the same table: all of it means the very same number"
)]
pub(crate) fn taken_percent(view: &View<'_>, index: usize) -> Option<f64> {
    let node = &view.entry.proposal.nodes[index];
    let value = view.value(index);
    if !view.take.has(index) || value == node.after {
        return None;
    }
    let content = view.state.spec.table.content;
    Some((content.fuel(value) / content.fuel(node.before) - 1.0) * 100.0)
}

/// Returns what is taken of a node's change, in words; nothing where that is all of it.
pub(crate) fn taken(view: &View<'_>, index: usize) -> Markup {
    let node = &view.entry.proposal.nodes[index];
    let approved = view
        .entry
        .verdict
        .as_ref()
        .and_then(|verdict| verdict.approved.as_ref());
    if !mark::is_change(node) || !view.is_open() && approved.is_none() {
        return html! {};
    }
    if !view.take.has(index) {
        return html! { p.taken { strong { "Left out" } ": " (outcome(view, index)) "." } };
    }
    let Some(percent) = taken_percent(view, index) else {
        return html! {};
    };
    let table = &view.state.spec.table;
    html! {
        p.taken {
            strong { "Part of it is taken" } ": " (signed(percent, 1)) " % fuel, "
            (fixed(view.value(index), decimals(table.resolution))) (unit(table.content)) "; " (outcome(view, index)) "."
        }
    }
}

/// Returns where lambda then ends: the figures below are those of the whole change.
fn outcome(view: &View<'_>, index: usize) -> String {
    let node = &view.entry.proposal.nodes[index];
    let content = view.state.spec.table.content;
    let given = content.fuel(view.value(index)) / content.fuel(node.before);
    format!(
        "lambda then {:.3}, chance of ending leaner than permitted {}",
        node.lambda_before / given,
        chance(lean_risk(view, index))
    )
}

/// Returns where a node is taken, taken in part or left out; nothing where there is no choice.
pub(crate) fn form(view: &View<'_>, index: usize) -> Markup {
    if !view.is_open() || !mark::is_change(&view.entry.proposal.nodes[index]) {
        return html! {};
    }
    let (is_taken, own) = (view.take.has(index), view.take.own_at(index));
    html! {
        div.part {
            input type="hidden" name="own-node" value=(index);
            label.field {
                span { "How much of this change, percent" }
                input type="number" name="own-share" min="1" max="100" step="1" value=[own];
            }
            div.buttons {
                button type="submit" name="own" value="take" formnovalidate {
                    @if is_taken { "Take this much" } @else { "Take it" }
                }
                @if is_taken { button type="submit" name="own" value="leave" formnovalidate { "Leave it out" } }
            }
            p.quiet { "Empty: as much as of all others, " (view.take.share_percent()) " %." }
        }
    }
}

/// Returns which nodes have a share of their own.
pub(crate) fn named(view: &View<'_>) -> Markup {
    let own = view.take.own();
    if own.is_empty() {
        return html! {};
    }
    html! {
        p { "Of " (counted(own.len(), "change")) " a share of its own:" }
        ul.lean {
            @for &(index, share) in own.iter().take(NAMED_MAX) {
                @let node = &view.entry.proposal.nodes[index];
                li {
                    a href={ "?node=" (breakpoint(node.rpm)) ":" (breakpoint(node.plate_percent)) "#at" } {
                        (place(node.rpm, node.plate_percent))
                    }
                    ": " (share) " %"
                }
            }
            @if own.len() > NAMED_MAX { li { "and " (own.len() - NAMED_MAX) " more" } }
        }
    }
}
