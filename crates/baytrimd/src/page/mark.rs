//! Signs that stand beside a number, so that colour is never the only carrier.
//!
//! They are those of the command line: whoever knows one reads the other.

pub(super) use baytrim_jobs::verdict::BORROWED_BELOW;
use baytrim_model::limits::LimitName;
use baytrim_model::proposal::{NodeChange, NodeStatus};
use maud::{Markup, html};

/// Sign of an estimate that is mostly borrowed.
pub(super) const BORROWED: char = '~';

/// Chance of ending too lean from which a node is marked: one in twenty, common practice for a risk worth a word.
pub(super) const LEAN_RISK_MARKED: f64 = 0.05;

/// Sign of a node that is perhaps leaner than permitted.
const LEAN: char = '!';

/// Returns whether a visited node is perhaps leaner than permitted, with its change.
pub(super) fn is_perhaps_lean(node: &NodeChange) -> bool {
    node.visits > 0 && node.lean_risk >= LEAN_RISK_MARKED
}

/// Returns whether an estimate is mostly borrowed from its neighbours.
pub(super) fn is_borrowed(node: &NodeChange) -> bool {
    node.measured_fraction < BORROWED_BELOW
}

/// Returns whether no pull has been at a node.
pub(super) fn is_unvisited(node: &NodeChange) -> bool {
    node.status == NodeStatus::Unvisited || node.visits == 0
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
        NodeStatus::Unvisited => "no pull has been here",
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
        LimitName::FalseLean => 'f',
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

/// Returns the signs that stand beside a node's number or sign.
pub(super) fn beside(node: &NodeChange) -> String {
    let lean = is_perhaps_lean(node).then_some(LEAN);
    let held = telling(node).filter(|_| tells_limit(node)).map(letter);
    let borrowed = (is_borrowed(node) && !is_unvisited(node)).then_some(BORROWED);
    lean.into_iter().chain(held).chain(borrowed).collect()
}

fn tells_limit(node: &NodeChange) -> bool {
    is_change(node) || node.status == NodeStatus::Unproven
}

/// Returns the signs that occur among `nodes`, each with its meaning; those of changes only where they are shown.
pub(super) fn legend(nodes: &[NodeChange], with_changes: bool) -> Markup {
    let quiet = [
        NodeStatus::OnTarget,
        NodeStatus::Unproven,
        NodeStatus::Unvisited,
    ];
    let occurs_status = |kind| match kind {
        NodeStatus::Unvisited => nodes.iter().any(is_unvisited),
        kind => with_changes && nodes.iter().any(|node| node.status == kind),
    };
    let quiet = quiet.into_iter().filter(|&kind| occurs_status(kind));
    let is_held = |limit| {
        with_changes
            && nodes
                .iter()
                .any(|node| tells_limit(node) && telling(node) == Some(limit))
    };
    let held = LimitName::ALL.into_iter().filter(|&limit| is_held(limit));
    let occurs = |sign: char| nodes.iter().any(|node| beside(node).contains(sign));
    html! {
        dl.marks {
            @if with_changes && occurs(LEAN) {
                div { dt { (LEAN) } dd { "perhaps leaner than permitted here" } }
            }
            @for kind in quiet { div { dt { (status(kind)) } dd { (status_words(kind)) } } }
            @for limit in held { div { dt { (letter(limit)) } dd { (limit.sentence()) } } }
            @if occurs(BORROWED) {
                div { dt { (BORROWED) } dd { "less than half was measured here, the rest is borrowed from neighbours" } }
            }
        }
    }
}
