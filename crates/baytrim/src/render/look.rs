//! The nodes that deserve a look.

use baytrim_api::v1::{NodeChange, Proposal};

use super::marks::limit;
use super::number::{breakpoint, decimals_of, fixed, signed};
use super::proposal_grid::ink;
use super::style::{Ink, RenderOptions};
use super::text::{counted, hang};

/// Chance of ending too lean from which a node is listed: one in twenty, common practice for a risk worth a word.
const LEAN_RISK_LISTED: f64 = 0.05;

/// Most nodes listed: what fits a screen; the rest is counted.
const LISTED_MAX: usize = 10;

/// Returns the nodes that a reviewer should look at one by one: too lean, held back, losing fuel.
pub(crate) fn worth_a_look(proposal: &Proposal, options: &RenderOptions) -> String {
    let mut nodes: Vec<&NodeChange> = proposal
        .nodes
        .iter()
        .filter(|node| rank(node) > 0)
        .collect();
    if nodes.is_empty() {
        return String::new();
    }
    nodes.sort_by(|a, b| rank(b).cmp(&rank(a)).then(weight(b).total_cmp(&weight(a))));
    let all = proposal
        .nodes
        .iter()
        .flat_map(|node| [node.before, node.after]);
    let decimals = decimals_of(all);
    let risky = nodes.iter().filter(|node| rank(node) == 3).count();
    let mut head = format!("Worth a look: {}", counted(nodes.len(), "node"));
    if risky > 0 {
        head += &format!(", {risky} perhaps leaner than permitted");
    }
    let mut page = options.paint(Ink::Strong, &head) + "\n";
    for node in nodes.iter().take(LISTED_MAX) {
        page += &entry(node, decimals, options);
    }
    if nodes.len() > LISTED_MAX {
        page += &also_risky(&nodes[LISTED_MAX..], options);
        let more = counted(nodes.len() - LISTED_MAX, "more node");
        page += &format!("  … and {more}; --json lists them all\n");
    }
    page
}

/// Returns how pressing a node is: 3 perhaps too lean, 2 held back, 1 losing fuel, 0 not at all.
fn rank(node: &NodeChange) -> u8 {
    if node.visits > 0 && node.lean_risk >= LEAN_RISK_LISTED {
        3
    } else if node.status == "limited" {
        2
    } else {
        u8::from(node.proposed_percent < 0.0)
    }
}

fn weight(node: &NodeChange) -> f64 {
    match rank(node) {
        3 => node.lean_risk,
        2 => (node.correction_percent - node.proposed_percent).abs(),
        _ => node.proposed_percent.abs(),
    }
}

fn entry(node: &NodeChange, decimals: usize, options: &RenderOptions) -> String {
    let (before, after) = (fixed(node.before, decimals), fixed(node.after, decimals));
    let values = if before == after {
        format!("stays {before}")
    } else {
        format!("{before} → {after}")
    };
    let change = format!("{} %", signed(node.proposed_percent, 1));
    let place = format!(
        "{:>5} rpm {:>4} %",
        breakpoint(node.rpm),
        breakpoint(node.plate_percent)
    );
    let gap = " ".repeat(8_usize.saturating_sub(change.chars().count()));
    let line = format!(
        "  {place}  {gap}{}  {values}, needs {} ± {} %\n",
        options.paint(ink(node.proposed_percent), &change),
        signed(node.correction_percent, 1),
        fixed(node.standard_error_percent, 1),
    );
    let lambda = format!(
        "lambda {} → {} ({} to {}), wanted {}{}",
        fixed(node.lambda_ratio_before, 3),
        fixed(node.predicted_lambda_ratio, 3),
        fixed(node.predicted_lambda_ratio_low, 3),
        fixed(node.predicted_lambda_ratio_high, 3),
        fixed(node.target_lambda_ratio, 3),
        held(node),
    );
    line + &hang(&lambda, options.width, 6, 6) + &risk(node, options)
}

/// Returns what holds a change back; the grid's legend has the sentences.
fn held(node: &NodeChange) -> String {
    let names = node.limited_by.iter().filter(|name| *name != "resolution");
    let names: Vec<&str> = names.map(|name| limit(name).holder).collect();
    if names.is_empty() {
        String::new()
    } else {
        format!("; held by {}", names.join(", "))
    }
}

/// Returns the nodes that may end too lean beyond those listed, in short: none is left unsaid.
fn also_risky(nodes: &[&NodeChange], options: &RenderOptions) -> String {
    let risky = nodes.iter().filter(|node| rank(node) == 3);
    let short = |node: &&NodeChange| {
        let (rpm, plate) = (breakpoint(node.rpm), breakpoint(node.plate_percent));
        format!("{rpm}:{plate} ({})", chance(node))
    };
    let risky: Vec<String> = risky.map(short).collect();
    if risky.is_empty() {
        return String::new();
    }
    let text = format!("! perhaps leaner than permitted too: {}", risky.join(", "));
    let mut page = String::new();
    for line in hang(&text, options.width, 2, 4).lines() {
        page += &(options.paint(Ink::Alert, line) + "\n");
    }
    page
}

/// Returns the chance of ending too lean, never as a certainty.
fn chance(node: &NodeChange) -> String {
    if node.lean_risk > 0.99 {
        "over 99 %".to_owned()
    } else {
        format!("{} %", fixed(100.0 * node.lean_risk, 0))
    }
}

fn risk(node: &NodeChange, options: &RenderOptions) -> String {
    if node.lean_risk < LEAN_RISK_LISTED {
        return String::new();
    }
    let chance = chance(node);
    let text = format!("! {chance} chance that it ends leaner than permitted here");
    format!("      {}\n", options.paint(Ink::Alert, &text))
}
