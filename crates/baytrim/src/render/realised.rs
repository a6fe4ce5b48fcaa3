//! Realised against predicted: did lambda move as the loaded revision promised?

use baytrim_api::v1::{Realised, RealisedNode};

use super::columns::{Edge, columns};
use super::number::{fixed, signed};
use super::style::{Ink, RenderOptions};
use super::text::{counted, plain, wrap};
use crate::name::number;

/// Most nodes that are listed; all are in `--json`.
const NODES_LISTED_MAX: usize = 12;
/// A node is off when it differs by so many standard errors.
const OFF: f64 = 2.0;

/// Returns what a pull under `revision` shows against the predictions of earlier pulls.
pub(super) fn render_realised(
    revision: &str,
    realised: &Realised,
    options: &RenderOptions,
) -> String {
    let mut page = options.paint(Ink::Strong, "Predicted and realised") + "\n";
    page += &wrap(&overall(revision, realised), options.width, 2);
    if realised.nodes.is_empty() {
        return page;
    }
    let mut nodes: Vec<&RealisedNode> = realised.nodes.iter().collect();
    let off = nodes.iter().filter(|node| errors(node).abs() > OFF).count();
    let text = format!(
        "{off} of {} that earlier pulls know too differ by more than twice the standard error; the farthest off:",
        counted(nodes.len(), "node")
    );
    page += &wrap(&text, options.width, 2);
    nodes.sort_by(|a, b| errors(b).abs().total_cmp(&errors(a).abs()));
    let row = |node: &&RealisedNode| {
        let (predicted, realised) = (node.predicted_lambda_ratio, node.realised_lambda_ratio);
        [
            fixed(node.rpm, 0),
            fixed(node.plate_percent, 1),
            fixed(node.previous_lambda_ratio, 3),
            fixed(predicted, 3),
            fixed(realised, 3),
            signed(100.0 * (realised / predicted).ln(), 1) + " %",
            fixed(node.difference_error_percent, 1) + " %",
        ]
    };
    let rows: Vec<_> = nodes.iter().take(NODES_LISTED_MAX).map(row).collect();
    let heads = [
        ("rpm", Edge::Right),
        ("plate %", Edge::Right),
        ("before", Edge::Right),
        ("predicted", Edge::Right),
        ("realised", Edge::Right),
        ("off by", Edge::Right),
        ("std error", Edge::Right),
    ];
    page + &columns(heads, &rows, options)
}

/// Returns by how many standard errors a node is off.
fn errors(node: &RealisedNode) -> f64 {
    let off = 100.0 * (node.realised_lambda_ratio / node.predicted_lambda_ratio).ln();
    off / node.difference_error_percent.max(1e-6)
}

fn overall(revision: &str, realised: &Realised) -> String {
    let mut text = String::new();
    if let Some(share) = realised.realised_fraction {
        text += &format!(
            "Of the change from {} to {}, lambda shows {} ± {} % (100: as predicted, 0: not moved). ",
            plain(number(&realised.previous_revision)),
            plain(number(revision)),
            fixed(100.0 * share, 0),
            fixed(100.0 * realised.realised_fraction_error, 0),
        );
    }
    let likely = realised
        .loaded
        .iter()
        .enumerate()
        .filter(|(place, loaded)| *place == 0 || loaded.probability >= 0.005)
        .map(|(_, loaded)| {
            let name = plain(number(&loaded.revision));
            if loaded.probability > 0.999 {
                format!("{name} more than 99.9 %")
            } else {
                format!("{name} {} %", fixed(100.0 * loaded.probability, 1))
            }
        });
    let likely: Vec<String> = likely.collect();
    text + &format!("What was loaded, by probability: {}.", likely.join(", "))
}
