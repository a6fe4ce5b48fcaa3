//! Signs that stand beside a number, so that colour is never the only carrier.
//!
//! They are those of the command line: whoever knows one reads the other.

use baytrim_model::limits::LimitName;
use baytrim_model::proposal::{NodeChange, NodeStatus};
use maud::{Markup, html};

/// Below this measured fraction an estimate counts as borrowed: its neighbours say more than it does.
pub(super) const BORROWED_BELOW: f64 = 0.5;

/// Sign of an estimate that is mostly borrowed.
pub(super) const BORROWED: char = '~';

/// Returns whether an estimate is mostly borrowed from its neighbours.
pub(super) fn is_borrowed(node: &NodeChange) -> bool {
    node.measured_fraction < BORROWED_BELOW
}

/// Returns whether a proposal changes a node.
#[expect(
    clippy::float_cmp,
    reason = "both values come from the same table: unchanged means the very same number"
)]
pub(super) fn is_change(node: &NodeChange) -> bool {
    node.after != node.before
}

/// Returns the sign that stands for a node without a change.
pub(super) fn status(status: NodeStatus) -> &'static str {
    match status {
        NodeStatus::Change | NodeStatus::Limited => "",
        NodeStatus::OnTarget => "=",
        NodeStatus::Unproven => "?",
        NodeStatus::Unvisited => "\u{b7}",
    }
}

/// Returns a status in words.
pub(super) fn status_words(status: NodeStatus) -> &'static str {
    match status {
        NodeStatus::Change => "a change is proposed that brings it to target",
        NodeStatus::Limited => "a change is proposed, but a limit holds it short of target",
        NodeStatus::OnTarget => "on target within the tolerance: left alone",
        NodeStatus::Unproven => "perhaps off target, not proven enough for a change",
        NodeStatus::Unvisited => "never visited: left as it is",
    }
}

/// Returns the letter of a limit.
pub(super) fn letter(limit: LimitName) -> char {
    match limit {
        LimitName::Step => 's',
        LimitName::Total => 't',
        LimitName::Neighbour => 'n',
        LimitName::LeanestLambda => 'w',
        LimitName::LeanProof => 'p',
        LimitName::Deadband => 'd',
        LimitName::StandardError => 'u',
        LimitName::Visits => 'v',
        LimitName::Borrowed => 'b',
        LimitName::Resolution => 'r',
    }
}

/// Returns the limit that says most about a change: the first one; rounding says nothing worth a sign.
pub(super) fn telling(node: &NodeChange) -> Option<LimitName> {
    let mut limits = node.limited_by.iter().copied();
    limits.find(|&limit| limit != LimitName::Resolution)
}

/// Returns the signs that stand beside a node's number.
pub(super) fn beside(node: &NodeChange) -> String {
    let held = telling(node).filter(|_| is_change(node)).map(letter);
    let borrowed = (is_borrowed(node) && node.status != NodeStatus::Unvisited).then_some(BORROWED);
    held.into_iter().chain(borrowed).collect()
}

/// Returns the signs that occur among `nodes`, each with its meaning.
pub(super) fn legend(nodes: &[NodeChange]) -> Markup {
    let has = |wanted: NodeStatus| nodes.iter().any(|node| node.status == wanted);
    let held: Vec<LimitName> = LimitName::ALL
        .into_iter()
        .filter(|&limit| nodes.iter().any(|node| is_change(node) && telling(node) == Some(limit)))
        .collect();
    let quiet = [NodeStatus::OnTarget, NodeStatus::Unproven, NodeStatus::Unvisited];
    html! {
        dl.marks {
            @for kind in quiet.into_iter().filter(|&kind| has(kind)) {
                div { dt { (status(kind)) } dd { (status_words(kind)) } }
            }
            @for limit in held { div { dt { (letter(limit)) } dd { (limit.sentence()) } } }
            @if nodes.iter().any(|node| beside(node).contains(BORROWED)) {
                div { dt { (BORROWED) } dd { "less than half was measured here, the rest is borrowed from neighbours" } }
            }
        }
    }
}
