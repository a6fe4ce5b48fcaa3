//! A proposal in a few sentences.

use baytrim_api::v1::{FitSummary, NodeChange, Proposal};

use super::number::{fixed, signed};
use super::plan::chance_then;
use super::style::RenderOptions;
use super::text::{counted, plain, wrap};
use crate::name::number;

/// Returns what a reviewer should know before looking at the table.
pub(crate) fn summary(proposal: &Proposal, options: &RenderOptions) -> String {
    let mut page = wrap(&changes(proposal), options.width, 0);
    if let Some(done) = &proposal.done {
        page += &wrap(&chance_then(done), options.width, 0);
    }
    if let Some(fit) = &proposal.fit {
        page.push('\n');
        page += &wrap(&noise(fit), options.width, 0);
        for remark in &fit.remarks {
            page += &wrap(&plain(remark), options.width, 0);
        }
    }
    page
}

fn changes(proposal: &Proposal) -> String {
    let nodes = &proposal.nodes;
    let count = |keep: &dyn Fn(&NodeChange) -> bool| nodes.iter().filter(|node| keep(node)).count();
    let richer = count(&|node| node.proposed_percent > 0.0);
    let leaner = count(&|node| node.proposed_percent < 0.0);
    let mut text = String::new();
    if let Some(fit) = &proposal.fit {
        let base = plain(number(&proposal.base_revision));
        let off = fixed(fit.off_target_percent, 1);
        text += &format!("Where the pulls have been, {base} is {off} % off target. ");
    }
    let all = counted(nodes.len(), "node");
    text += &match richer + leaner {
        0 => format!("None of the {all} changes."),
        changing => {
            let range = range(nodes);
            format!("{changing} of {all} change: {richer} get more fuel, {leaner} less, {range}.")
        }
    };
    let rest = [
        (count(&|node| node.status == "on_target"), "on target"),
        (
            count(&|node| node.status == "unproven"),
            "perhaps off target but not proven",
        ),
        (count(&|node| node.status == "unvisited"), "never visited"),
    ];
    let rest = rest.into_iter().filter(|(count, _)| *count > 0);
    let rest: Vec<String> = rest
        .map(|(count, words)| format!("{count} {words}"))
        .collect();
    match count(&|node| node.status == "limited") {
        0 => {}
        limited => text += &format!(" A limit holds {limited} of the changes short."),
    }
    if !rest.is_empty() {
        text += &format!(" Left as they are: {}.", rest.join(", "));
    }
    text
}

/// Returns the smallest and the largest change.
fn range(nodes: &[NodeChange]) -> String {
    let changes = || {
        nodes
            .iter()
            .map(|node| node.proposed_percent)
            .filter(|&percent| percent != 0.0)
    };
    let low = changes().fold(f64::INFINITY, f64::min);
    let high = changes().fold(f64::NEG_INFINITY, f64::max);
    if high > low {
        format!("from {} to {} %", signed(low, 1), signed(high, 1))
    } else {
        format!("by {} %", signed(high, 1))
    }
}

fn noise(fit: &FitSummary) -> String {
    let mut text = format!(
        "From {} readings: one reading scatters by {} %, separate visits of one place by {} %, \
         whole pulls by {} %. The sensor's own error, {} %, no pull can show.",
        fit.reading_count,
        fixed(fit.noise_percent, 1),
        fixed(fit.episode_percent, 1),
        fixed(fit.pull_percent, 1),
        fixed(fit.sensor_percent, 1),
    );
    if fit.calibration_factor > 1.005 {
        let factor = fixed(fit.calibration_factor, 2);
        text +=
            &format!(" Standard errors were widened {factor} times, as held-out visits asked for.");
    }
    text
}
