//! A proposal in one sentence and one figure.

use baytrim_model::axis::Axes;
use baytrim_model::proposal::{DoneChance, NodeChange, NodeStatus, Proposal};
use maud::{Markup, html};

use crate::page::grid::place;
use crate::page::mark::is_change;
use crate::page::number::{counted, signed};

/// How many nodes a proposal does what with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Tally {
    /// Nodes that get more fuel.
    pub(crate) richer: usize,
    /// Nodes that get less.
    pub(crate) leaner: usize,
    /// Nodes that a limit holds short of target.
    pub(crate) limited: usize,
    /// Nodes on target.
    pub(crate) on_target: usize,
    /// Nodes perhaps off target, not proven.
    pub(crate) unproven: usize,
    /// Nodes that no pull visited.
    pub(crate) unvisited: usize,
}

impl Tally {
    /// Counts the nodes of a proposal.
    pub(crate) fn of(nodes: &[NodeChange]) -> Self {
        let count =
            |keep: &dyn Fn(&NodeChange) -> bool| nodes.iter().filter(|node| keep(node)).count();
        Self {
            richer: count(&|node| is_change(node) && node.proposed_percent > 0.0),
            leaner: count(&|node| is_change(node) && node.proposed_percent < 0.0),
            limited: count(&|node| node.status == NodeStatus::Limited),
            on_target: count(&|node| node.status == NodeStatus::OnTarget),
            unproven: count(&|node| node.status == NodeStatus::Unproven),
            unvisited: count(&|node| node.status == NodeStatus::Unvisited),
        }
    }

    /// Returns the number of nodes that change.
    pub(crate) fn changes(&self) -> usize {
        self.richer + self.leaner
    }
}

/// Returns the figure, the sentence, and what is left over.
pub(crate) fn headline(axes: &Axes, proposal: &Proposal) -> Markup {
    let tally = Tally::of(&proposal.nodes);
    let rest = [
        (tally.limited, "held short by a limit"),
        (tally.on_target, "on target"),
        (tally.unproven, "not proven"),
        (tally.unvisited, "never visited"),
    ];
    html! {
        div.headline {
            p.figure {
                strong { (format!("{:.1}", proposal.fit.off_target_percent)) " %" }
                span { "off target" }
            }
            div {
                p.lead { (sentence(axes, proposal, &tally)) }
                ul.tally {
                    @for (count, words) in rest.into_iter().filter(|(count, _)| *count > 0) {
                        li { strong { (count) } " " (words) }
                    }
                }
                @if let Some(done) = &proposal.done { p.quiet { (chance(done)) } }
            }
        }
    }
}

/// Returns what a proposal amounts to, in plain words.
pub(crate) fn sentence(axes: &Axes, proposal: &Proposal, tally: &Tally) -> String {
    let nodes = counted(axes.node_count(), "node");
    let base = proposal.base_revision;
    let off = format!(
        "Where the engine has been, {base} is {:.1} % off target.",
        proposal.fit.off_target_percent
    );
    match tally.changes() {
        0 => format!("{off} None of its {nodes} changes."),
        changing => format!(
            "{off} {changing} of its {nodes} change: {} get more fuel, {} less{}.",
            tally.richer,
            tally.leaner,
            largest(&proposal.nodes)
        ),
    }
}

/// Returns a chance in percent that never claims certainty.
pub(crate) fn percent(chance: f64) -> String {
    match chance {
        chance if chance > 0.99 => "over 99 %".to_owned(),
        chance if chance < 0.01 => "under 1 %".to_owned(),
        chance => format!("{:.0} %", 100.0 * chance),
    }
}

/// Returns how likely the job is done, as it is and with the proposal.
pub(crate) fn chance(done: &DoneChance) -> String {
    let nodes = usize::try_from(done.node_count).unwrap_or(usize::MAX);
    let with = done
        .proposed_probability
        .map_or_else(String::new, |chance| {
            format!(", {} with the proposal", percent(chance))
        });
    format!(
        "Chance that all of {} are within {} % of target: {}{with}. A bias of the sensor is left out.",
        counted(nodes, "visited node"),
        done.tolerance_percent,
        percent(done.probability)
    )
}

fn largest(nodes: &[NodeChange]) -> String {
    let size = |node: &&NodeChange| node.proposed_percent.abs();
    let largest = nodes
        .iter()
        .max_by(|one, other| size(one).total_cmp(&size(other)));
    largest.map_or_else(String::new, |node| {
        let (percent, place) = (
            signed(node.proposed_percent, 1),
            place(node.rpm, node.plate_percent),
        );
        format!(", at most {percent} % at {place}")
    })
}
