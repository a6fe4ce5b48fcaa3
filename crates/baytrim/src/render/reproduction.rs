//! A proposal computed again: the same, or where and by how much it differs.

use baytrim_api::v1::{ReproduceProposalResponse, ReproducedNode};

use super::columns::{Edge, columns};
use super::number::{fixed, signed};
use super::style::{Ink, RenderOptions};
use super::text::{counted, plain, wrap};
use crate::name::short;

/// Nodes that are listed.
const NODES_SHOWN: usize = 12;

/// Returns how the proposal `name` comes out that was computed again.
pub fn render_reproduction(
    name: &str,
    found: &ReproduceProposalResponse,
    options: &RenderOptions,
) -> String {
    let count = |count: u32| usize::try_from(count).unwrap_or(usize::MAX);
    let name = short(name);
    let pulls: Vec<String> = found.pulls.iter().map(|pull| plain(&pull.pull)).collect();
    let source = format!(
        "Computed again from the raw logs of {} as they came, with the job as it was then.",
        pulls.join(", ")
    );
    let mut page = if found.identical {
        let head = format!("{name} comes out the same, to the last digit of every number.");
        options.paint(Ink::Strong, &head)
    } else {
        let head = format!("{name} comes out otherwise.");
        options.paint(Ink::Alert, &head)
    };
    page.push('\n');
    page += &wrap(&source, options.width, 0);
    if found.recorded_estimator != found.estimator {
        let other = format!(
            "It was recorded by {} and computed now by {}: other numbers may be the estimator's.",
            plain(&found.recorded_estimator),
            plain(&found.estimator)
        );
        page += &wrap(&other, options.width, 0);
    }
    for pull in found.pulls.iter().filter(|pull| !pull.evidence_identical) {
        let what = format!(
            "The log of {} is read otherwise now than then.",
            plain(&pull.pull)
        );
        page += &wrap(&what, options.width, 0);
    }
    if !found.identical {
        let what = format!(
            "{} of {} differ, by {} % of fuel at the most; another value would be proposed for {}.",
            counted(count(found.differing_node_count), "node"),
            found.node_count,
            fixed(found.correction_difference_percent_max, 3),
            counted(count(found.other_value_count), "node"),
        );
        page += &wrap(&what, options.width, 0);
        page += &nodes(&found.differing_nodes, options);
    }
    page
}

fn nodes(nodes: &[ReproducedNode], options: &RenderOptions) -> String {
    let row = |node: &ReproducedNode| {
        [
            fixed(node.rpm, 0),
            fixed(node.plate_percent, 1),
            fixed(node.recorded_after, 3),
            fixed(node.after, 3),
            signed(node.recorded_correction_percent, 3),
            signed(node.correction_percent, 3),
        ]
    };
    if nodes.is_empty() {
        return String::new();
    }
    let rows: Vec<_> = nodes.iter().take(NODES_SHOWN).map(row).collect();
    let heads = [
        ("rpm", Edge::Right),
        ("plate %", Edge::Right),
        ("then", Edge::Right),
        ("now", Edge::Right),
        ("estimate then %", Edge::Right),
        ("now %", Edge::Right),
    ];
    let more = nodes.len().saturating_sub(NODES_SHOWN);
    let rest = match more {
        0 => String::new(),
        more => format!("... and {more} more; `--json` lists them\n"),
    };
    format!("\n{}{rest}", columns(heads, &rows, options))
}
