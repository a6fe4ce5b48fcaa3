//! Proposals computed again.

use baytrim_api::v1;
use baytrim_jobs::reproduce::NodeDifference;

use crate::reproduce::Reproduction;

/// Nodes that are listed; all are counted.
const NODES_LISTED_MAX: usize = 200;

/// Returns how a proposal comes out that was computed again.
pub fn whole(found: &Reproduction) -> v1::ReproduceProposalResponse {
    let differing = &found.comparison.differing;
    let count = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
    let other_values = differing.iter().filter(|node| node.is_other_value());
    let gaps = differing.iter().map(|node| {
        let [then, now] = node.correction_percent;
        (then - now).abs()
    });
    v1::ReproduceProposalResponse {
        identical: found.comparison.is_identical,
        recorded_estimator: found.recorded.fit.estimator.clone(),
        estimator: found.again.fit.estimator.clone(),
        pulls: pulls(found),
        node_count: count(found.recorded.nodes.len()),
        other_value_count: count(other_values.count()),
        differing_node_count: count(differing.len()),
        correction_difference_percent_max: gaps.fold(0.0, f64::max),
        differing_nodes: differing
            .iter()
            .take(NODES_LISTED_MAX)
            .map(|difference| node(found, difference))
            .collect(),
    }
}

fn pulls(found: &Reproduction) -> Vec<v1::ReproducedPull> {
    let entries = found.state.pulls.iter().map(|entry| &entry.record);
    let read = found.pulls.iter().filter_map(|&(id, is_same)| {
        let record = entries.clone().find(|record| record.id == id)?;
        Some(v1::ReproducedPull {
            pull: id.to_string(),
            log_sha256: record.log_blob.clone(),
            evidence_identical: is_same,
        })
    });
    read.collect()
}

fn node(found: &Reproduction, difference: &NodeDifference) -> v1::ReproducedNode {
    let place = &found.recorded.nodes[difference.node];
    let ([recorded_after, after], [recorded, correction_percent]) =
        (difference.after, difference.correction_percent);
    v1::ReproducedNode {
        rpm: place.rpm,
        plate_percent: place.plate_percent,
        recorded_after,
        after,
        recorded_correction_percent: recorded,
        correction_percent,
    }
}
