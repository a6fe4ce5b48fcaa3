//! The grid of proposed changes, and its legend.

use baytrim_api::v1::{NodeChange, Proposal};

use super::grid::{Cell, Grid};
use super::marks::limit;
use super::number::signed;
use super::style::{Ink, RenderOptions};
use super::text::hang;

/// Returns the grid of proposed changes in percent with a legend of the signs that occur in it.
pub(crate) fn change_grid(proposal: &Proposal, options: &RenderOptions) -> String {
    let grid = Grid {
        rpm: &proposal.rpm,
        plate_percent: &proposal.plate_percent,
        cells: proposal.nodes.iter().map(cell).collect(),
    };
    let head = options.paint(Ink::Strong, "Proposed fuel change, percent");
    format!(
        "{head}\n{}\n{}",
        grid.draw(options),
        legend(&proposal.nodes, options)
    )
}

/// Returns the limit that says most about a node: the first one, rounding last.
pub(crate) fn telling_limit(node: &NodeChange) -> Option<&str> {
    let names = || node.limited_by.iter().map(String::as_str);
    names()
        .find(|&name| name != "resolution")
        .or_else(|| names().next())
}

fn cell(node: &NodeChange) -> Cell {
    let held = || telling_limit(node).map_or(' ', |name| limit(name).letter);
    match node.status.as_str() {
        "on_target" => Cell::new("=", Ink::Quiet),
        "unvisited" => Cell::new("·", Ink::Quiet),
        "unproven" => Cell {
            body: "?".to_owned(),
            mark: held(),
            ink: Ink::Plain,
        },
        _ => Cell {
            body: signed(node.proposed_percent, 1),
            mark: match telling_limit(node) {
                Some("resolution") => ' ',
                _ => held(),
            },
            ink: ink(node.proposed_percent),
        },
    }
}

/// Returns the colour of a fuel change.
pub(crate) fn ink(percent: f64) -> Ink {
    if percent > 0.0 {
        Ink::More
    } else if percent < 0.0 {
        Ink::Less
    } else {
        Ink::Plain
    }
}

fn legend(nodes: &[NodeChange], options: &RenderOptions) -> String {
    let has = |status: &str| nodes.iter().any(|node| node.status == status);
    let mut signs = vec![(Ink::More, "+", "more fuel"), (Ink::Less, "-", "less fuel")];
    for (status, sign, words) in [
        ("on_target", "=", "on target"),
        ("unproven", "?", "perhaps off target, not proven"),
        ("unvisited", "·", "never visited"),
    ] {
        if has(status) {
            signs.push((Ink::Plain, sign, words));
        }
    }
    let mut page = String::new();
    let mut used = 0;
    for (ink, sign, words) in signs {
        let width = 3 + sign.chars().count() + words.chars().count();
        if used > 0 && used + 1 + width > options.width {
            page.push('\n');
            used = 0;
        }
        let gap = if used == 0 { "  " } else { "   " };
        page += &format!("{gap}{} {words}", options.paint(ink, sign));
        used += width;
    }
    page.push('\n');
    for mark in occurring_limits(nodes) {
        page += &hang(&mark, options.width, 2, 4);
    }
    page
}

fn occurring_limits(nodes: &[NodeChange]) -> Vec<String> {
    let mut lines = Vec::new();
    for node in nodes {
        let mark = cell(node).mark;
        let Some(name) = telling_limit(node).filter(|_| mark != ' ') else {
            continue;
        };
        let line = format!("{mark} {}", limit(name).sentence);
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    lines.sort();
    lines
}
