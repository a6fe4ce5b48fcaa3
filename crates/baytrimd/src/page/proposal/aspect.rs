//! The aspects of a proposal's table: what is shown in each cell.

use baytrim_model::axis::Axes;
use baytrim_model::proposal::{NodeChange, NodeStatus, Proposal};
use baytrim_model::table::TableContent;
use maud::{Markup, html};

use super::take::Take;
use crate::page::grid::{Line, grid, plain_head};
use crate::page::number::{breakpoint, fixed, signed};
use crate::page::{mark, scale};

/// What is shown of a proposal's table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Aspect {
    /// How far the table in force is off target.
    Before,
    /// What is proposed.
    Change,
    /// How far the table would be off target with the changes taken.
    After,
    /// How sure the estimate is.
    Sure,
    /// What is proposed, each change to be taken or left.
    Choose,
}

impl Aspect {
    /// Every aspect, in the order of its tabs.
    pub(crate) const ALL: [Self; 5] = [
        Self::Before,
        Self::Change,
        Self::After,
        Self::Sure,
        Self::Choose,
    ];

    /// Returns the name as paths write it.
    pub(crate) fn as_str(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::Change => "change",
            Self::After => "after",
            Self::Sure => "sure",
            Self::Choose => "choose",
        }
    }

    /// Returns the aspect of that name.
    pub(crate) fn find(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|aspect| aspect.as_str() == name)
    }

    /// Returns the words on its tab.
    pub(crate) fn tab(self) -> &'static str {
        match self {
            Self::Before => "Before",
            Self::Change => "Change",
            Self::After => "After",
            Self::Sure => "How sure",
            Self::Choose => "Choose nodes",
        }
    }

    /// Returns the table's caption.
    pub(crate) fn caption(self) -> &'static str {
        match self {
            Self::Before => {
                "Before: fuel that the table in force lacks (+) or has too much (\u{2212}), percent; below it the table value"
            }
            Self::Change => {
                "Change: proposed fuel change, percent; below it what is taken, where that is less"
            }
            Self::After => {
                "After: fuel still lacking (+) or too much (\u{2212}) with the chosen changes, percent; below it the table value"
            }
            Self::Sure => {
                "How sure: standard error of the estimate, percent of fuel; below it seconds and visits"
            }
            Self::Choose => {
                "Choose: touch a change to take it or leave it; a row's or column's head does all of it"
            }
        }
    }
}

/// What a aspect is drawn from.
pub(crate) struct Drawn<'a> {
    /// The table's axes.
    pub(crate) axes: &'a Axes,
    /// The proposal.
    pub(crate) proposal: &'a Proposal,
    /// The changes that are taken.
    pub(crate) take: &'a Take,
    /// Every node's table value with what is taken.
    pub(crate) values: &'a [f64],
    /// The fuel change that a node gets, percent, where part of what is proposed is taken.
    pub(crate) parts: &'a [Option<f64>],
    /// What table values are.
    pub(crate) content: TableContent,
    /// The node whose details are shown.
    pub(crate) node: Option<usize>,
    /// Decimals of table values.
    pub(crate) decimals: usize,
}

/// Returns a aspect of the proposal's table.
pub(crate) fn table(aspect: Aspect, drawn: &Drawn<'_>) -> Markup {
    if aspect == Aspect::Choose {
        return choose(drawn);
    }
    grid(drawn.axes, aspect.caption(), &plain_head, &|index| {
        let node = &drawn.proposal.nodes[index];
        let (class, body) = match aspect {
            Aspect::Before => before(node, drawn.decimals),
            Aspect::After => after(node, drawn.values[index], drawn),
            Aspect::Sure => sure(node),
            Aspect::Change | Aspect::Choose => {
                change(node, drawn.take.has(index), drawn.parts[index])
            }
        };
        linked(node, &class, drawn.node == Some(index), &body)
    })
}

/// Returns the legend of a aspect.
pub(crate) fn legend(aspect: Aspect, drawn: &Drawn<'_>) -> Markup {
    let changes = drawn
        .proposal
        .nodes
        .iter()
        .filter(|node| mark::is_change(node));
    let some_left = drawn.take.count() < changes.count();
    html! {
        div.legend {
            @match aspect {
                Aspect::Sure => (scale::sure_legend()),
                Aspect::Change | Aspect::Choose => (scale::change_legend("less fuel", "more fuel")),
                Aspect::Before | Aspect::After => (scale::change_legend("too much", "lacking")),
            }
            @if aspect == Aspect::Choose || some_left && aspect == Aspect::Change {
                p.left-key { span {} "dashed, without colour: not taken" }
            }
            (mark::legend(&drawn.proposal.nodes, matches!(aspect, Aspect::Change | Aspect::Choose)))
        }
    }
}

/// Returns a cell that leads to the node's details. Its address is relative, to keep the page small.
fn linked(node: &NodeChange, class: &str, is_here: bool, body: &Markup) -> Markup {
    let address = format!(
        "?node={}:{}#at",
        breakpoint(node.rpm),
        breakpoint(node.plate_percent)
    );
    html! {
        td class=(class) {
            @if is_here { a #at aria-current="true" href=(address) { (body) } }
            @else { a href=(address) { (body) } }
        }
    }
}

fn change(node: &NodeChange, is_taken: bool, part: Option<f64>) -> (String, Markup) {
    if !mark::is_change(node) {
        return (
            quiet(node),
            html! { (mark::status(node.status)) (marks(node)) },
        );
    }
    let class = scale::change(node.proposed_percent);
    let class = if is_taken {
        class.to_owned()
    } else {
        format!("{class} left")
    };
    (
        class,
        html! {
            (signed(node.proposed_percent, 1)) (marks(node))
            @if let Some(part) = part { small { (signed(part, 1)) } }
        },
    )
}

fn marks(node: &NodeChange) -> Markup {
    let marks = mark::beside(node);
    html! { @if !marks.is_empty() { i { (marks) } } }
}

fn before(node: &NodeChange, decimals: usize) -> (String, Markup) {
    off_target(node, node.correction_percent, node.before, decimals)
}

fn after(node: &NodeChange, value: f64, drawn: &Drawn<'_>) -> (String, Markup) {
    let given = drawn.content.fuel(value) / drawn.content.fuel(node.before);
    let rest = (100.0 + node.correction_percent) / given - 100.0;
    off_target(node, rest, value, drawn.decimals)
}

fn off_target(node: &NodeChange, percent: f64, value: f64, decimals: usize) -> (String, Markup) {
    let value = html! { small { (fixed(value, decimals)) } };
    if mark::is_unvisited(node) {
        return (
            "none".to_owned(),
            html! { (mark::status(NodeStatus::Unvisited)) (value) },
        );
    }
    let borrowed = mark::is_borrowed(node);
    let class = scale::change(percent).to_owned();
    (
        class,
        html! { (signed(percent, 1)) @if borrowed { i { (mark::BORROWED) } } (value) },
    )
}

fn sure(node: &NodeChange) -> (String, Markup) {
    if mark::is_unvisited(node) {
        return (
            "none".to_owned(),
            html! { (mark::status(NodeStatus::Unvisited)) },
        );
    }
    let class = scale::sure(node.standard_error_percent).to_owned();
    let borrowed = mark::is_borrowed(node);
    let body = html! {
        "\u{b1}" (format!("{:.1}", node.standard_error_percent)) @if borrowed { i { (mark::BORROWED) } }
        small { (format!("{:.0}", node.dwell_s)) " s \u{d7}" (node.visits) }
    };
    (class, body)
}

fn quiet(node: &NodeChange) -> String {
    if mark::is_unvisited(node) {
        "none".to_owned()
    } else {
        "still".to_owned()
    }
}

fn choose(drawn: &Drawn<'_>) -> Markup {
    let changing = |line: Line| {
        let nodes = line.nodes(drawn.axes);
        nodes
            .iter()
            .any(|&node| mark::is_change(&drawn.proposal.nodes[node]))
    };
    let head = |line: Line, text: &str| {
        let (value, words) = match line {
            Line::Rpm(index) => (
                format!("rpm:{index}"),
                format!("{text} rpm: take or leave all"),
            ),
            Line::Plate(index) => (
                format!("plate:{index}"),
                format!("plate {text} %: take or leave all"),
            ),
        };
        if !changing(line) {
            return html! { (text) };
        }
        html! { button type="submit" name="toggle" value=(value) aria-label=(words) formnovalidate { (text) } }
    };
    grid(drawn.axes, Aspect::Choose.caption(), &head, &|index| {
        let node = &drawn.proposal.nodes[index];
        if !mark::is_change(node) {
            return html! { td class=(quiet(node)) { (mark::status(node.status)) } };
        }
        let part = drawn.parts[index];
        let (_, body) = change(node, true, part);
        let place = format!(
            "{} rpm, {} %",
            breakpoint(node.rpm),
            breakpoint(node.plate_percent)
        );
        let taken = part.map_or_else(String::new, |part| format!(", of it {}", signed(part, 1)));
        let label = format!("{place}: {}{taken}", signed(node.proposed_percent, 1));
        html! {
            td class=(scale::change(node.proposed_percent)) {
                label {
                    input type="checkbox" name="n" value=(index) aria-label=(label) checked[drawn.take.has(index)];
                    (body)
                }
            }
        }
    })
}
