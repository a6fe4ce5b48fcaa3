//! What a reviewer takes of a proposal: all of it, some nodes, or less than was proposed; never more.

use baytrim_estimate::limit::{pairs_too_far_apart, part_of_change, stored_value};
use baytrim_model::proposal::{NodeChange, Proposal};

use crate::refusal::Refusal;
use crate::state::JobState;

/// What a reviewer takes of a proposal.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Nodes to take; empty: all that change.
    pub nodes: Vec<NodeChoice>,
    /// Grip breakpoints to take of a grip table, percent; empty: all that change.
    pub grip_percent: Vec<f64>,
    /// Share of each change to take in percent, above 0 and at most 100; nodes with a value of their own take that.
    pub share_percent: f64,
}

/// One node that is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NodeChoice {
    /// Engine speed of the node.
    pub rpm: f64,
    /// Plate opening of the node in percent.
    pub plate_percent: f64,
    /// Table value to take instead of the proposed one: past the value before, at most as far as proposed.
    pub value: Option<f64>,
}

impl Choice {
    /// Returns the choice of all that changes.
    pub fn whole() -> Self {
        Self::of(&[])
    }

    /// Returns the choice of `nodes`, (rpm, plate percent), as proposed; of none: all that change.
    pub fn of(nodes: &[(f64, f64)]) -> Self {
        let nodes = nodes.iter().map(|&(rpm, plate_percent)| NodeChoice {
            rpm,
            plate_percent,
            value: None,
        });
        Self {
            nodes: nodes.collect(),
            grip_percent: Vec::new(),
            share_percent: 100.0,
        }
    }
}

/// What is taken, and the table that it makes.
pub(super) struct Taken {
    /// The nodes, in node order.
    pub(super) nodes: Vec<usize>,
    /// Those of them that take less than proposed.
    pub(super) reduced: Vec<usize>,
    /// The whole table.
    pub(super) values: Vec<f64>,
}

/// Returns what `choice` takes.
///
/// # Errors
/// When a node is none of the table's or none that changes, a value or share is none that can be taken, nothing is
/// left to take, or what is taken breaks the neighbour limit.
pub(super) fn taken(
    state: &JobState,
    proposal: &Proposal,
    choice: &Choice,
) -> Result<Taken, Refusal> {
    if !choice.grip_percent.is_empty() {
        return Err(Refusal::field(
            "nodes",
            "names grips of a proposal for the fuel table",
            "name nodes by the breakpoints of both axes",
        ));
    }
    let share = share(choice.share_percent)?;
    let mut values = state.head().values.clone();
    let mut nodes = Vec::new();
    for (node, value) in chosen(state, proposal, choice)? {
        let change = &proposal.nodes[node];
        let part = || part_of_change(&state.spec.table, change.before, change.after, share);
        values[node] = value.unwrap_or_else(part);
        if is_other(values[node], change.before) {
            nodes.push(node);
        }
    }
    if nodes.is_empty() {
        return Err(Refusal::field(
            "share_percent",
            format!("{} leaves nothing of any change", choice.share_percent),
            format!(
                "take more: the table stores steps of {}",
                state.spec.table.resolution
            ),
        ));
    }
    check_neighbours(state, &values)?;
    let reduced = nodes
        .iter()
        .copied()
        .filter(|&node| is_other(values[node], proposal.nodes[node].after));
    Ok(Taken {
        reduced: reduced.collect(),
        nodes,
        values,
    })
}

fn share(percent: f64) -> Result<f64, Refusal> {
    if percent > 0.0 && percent <= 100.0 {
        return Ok(percent / 100.0);
    }
    Err(Refusal::field(
        "share_percent",
        format!("{percent} is no share of a change"),
        "take more than 0 and at most 100 percent",
    ))
}

#[expect(
    clippy::float_cmp,
    reason = "both values come from the same table: unchanged means the very same number"
)]
fn is_other(one: f64, other: f64) -> bool {
    one != other
}

fn changes(node: &NodeChange) -> bool {
    is_other(node.after, node.before)
}

/// Returns the nodes of a choice in node order, each with the value that it asks for.
fn chosen(
    state: &JobState,
    proposal: &Proposal,
    choice: &Choice,
) -> Result<Vec<(usize, Option<f64>)>, Refusal> {
    let all = (0..proposal.nodes.len()).filter(|&node| changes(&proposal.nodes[node]));
    let all: Vec<(usize, Option<f64>)> = all.map(|node| (node, None)).collect();
    if all.is_empty() {
        return Err(Refusal::NothingToApprove {
            job: state.id().clone(),
            proposal: proposal.id,
        });
    }
    if choice.nodes.is_empty() {
        return Ok(all);
    }
    let asked = choice.nodes.iter().enumerate();
    let nodes = asked.map(|(index, asked)| one(state, proposal, index, asked));
    let mut nodes = nodes.collect::<Result<Vec<_>, _>>()?;
    nodes.sort_by_key(|&(node, _)| node);
    nodes.dedup();
    if let Some(pair) = nodes.windows(2).find(|pair| pair[0].0 == pair[1].0) {
        let (rpm, plate_percent) = state.spec.axes.position(pair[0].0);
        return Err(Refusal::field(
            "nodes",
            format!("{rpm} rpm, {plate_percent} % is there twice with different values"),
            "name each node once",
        ));
    }
    Ok(nodes)
}

fn one(
    state: &JobState,
    proposal: &Proposal,
    index: usize,
    asked: &NodeChoice,
) -> Result<(usize, Option<f64>), Refusal> {
    let (rpm, plate_percent) = (asked.rpm, asked.plate_percent);
    let field = format!("nodes[{index}]");
    let Some(node) = state.spec.axes.find(rpm, plate_percent) else {
        return Err(Refusal::field(
            field,
            format!("{rpm} rpm, {plate_percent} % is no node of the table"),
            "name nodes by the breakpoints of both axes",
        ));
    };
    let change = &proposal.nodes[node];
    if !changes(change) {
        return Err(Refusal::field(
            field,
            format!("nothing is proposed for {rpm} rpm, {plate_percent} %"),
            "choose among the nodes that change",
        ));
    }
    let value = asked.value.map(|value| lesser(state, change, index, value));
    Ok((node, value.transpose()?))
}

/// Returns a value that a reviewer asks for, as the table stores it.
fn lesser(state: &JobState, change: &NodeChange, index: usize, value: f64) -> Result<f64, Refusal> {
    let field = format!("nodes[{index}].after");
    let Some(stored) = stored_value(&state.spec.table, value) else {
        return Err(Refusal::field(
            field,
            format!("{value} is none that the table stores"),
            format!("its steps are {}", state.spec.table.resolution),
        ));
    };
    let (before, after) = (change.before, change.after);
    let is_between = stored >= before.min(after) && stored <= before.max(after);
    if is_between && is_other(stored, before) {
        return Ok(stored);
    }
    Err(Refusal::field(
        field,
        format!("{stored} is not past {before} and at most as far as the proposed {after}"),
        "take as much as proposed or less; to leave a node alone, leave it out",
    ))
}

/// Every limit but the neighbours' belongs to one node and holds for any part of its change.
fn check_neighbours(state: &JobState, values: &[f64]) -> Result<(), Refusal> {
    let spec = &state.spec;
    let (axes, limits) = (&spec.axes, &spec.limits);
    let pairs = pairs_too_far_apart(axes, &spec.table, limits, &state.head().values, values)
        .map_err(|error| Refusal::field("nodes", error.to_string(), "take the whole proposal"))?;
    let Some(&(one, other)) = pairs.first() else {
        return Ok(());
    };
    let (rpm, plate_percent) = axes.position(one);
    let (neighbour_rpm, neighbour_plate_percent) = axes.position(other);
    Err(Refusal::SubsetBreaksNeighbour {
        rpm,
        plate_percent,
        neighbour_rpm,
        neighbour_plate_percent,
        pair_count: pairs.len(),
        neighbour_percent: limits.neighbour_percent,
    })
}
