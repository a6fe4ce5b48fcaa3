//! A proposal computed again, for scripts.

use baytrim_api::v1::{ReproduceProposalResponse, ReproducedNode, ReproducedPull};
use serde::Serialize;

use crate::name::short;

/// How a proposal comes out that was computed again.
#[derive(Debug, Serialize)]
pub(crate) struct ReproductionJson<'a> {
    id: String,
    identical: bool,
    recorded_estimator: &'a str,
    estimator: &'a str,
    pulls: Vec<PullJson<'a>>,
    node_count: u32,
    other_value_count: u32,
    differing_node_count: u32,
    correction_difference_percent_max: f64,
    differing_nodes: Vec<NodeJson>,
}

#[derive(Debug, Serialize)]
struct PullJson<'a> {
    pull: &'a str,
    log_sha256: &'a str,
    evidence_identical: bool,
}

#[derive(Debug, Serialize)]
struct NodeJson {
    rpm: f64,
    plate_percent: f64,
    recorded_after: f64,
    after: f64,
    recorded_correction_percent: f64,
    correction_percent: f64,
}

impl<'a> ReproductionJson<'a> {
    /// Returns how the proposal `name` comes out.
    pub(crate) fn new(name: &str, found: &'a ReproduceProposalResponse) -> Self {
        Self {
            id: short(name),
            identical: found.identical,
            recorded_estimator: &found.recorded_estimator,
            estimator: &found.estimator,
            pulls: found.pulls.iter().map(pull).collect(),
            node_count: found.node_count,
            other_value_count: found.other_value_count,
            differing_node_count: found.differing_node_count,
            correction_difference_percent_max: found.correction_difference_percent_max,
            differing_nodes: found.differing_nodes.iter().map(node).collect(),
        }
    }
}

fn pull(pull: &ReproducedPull) -> PullJson<'_> {
    PullJson {
        pull: &pull.pull,
        log_sha256: &pull.log_sha256,
        evidence_identical: pull.evidence_identical,
    }
}

fn node(node: &ReproducedNode) -> NodeJson {
    NodeJson {
        rpm: node.rpm,
        plate_percent: node.plate_percent,
        recorded_after: node.recorded_after,
        after: node.after,
        recorded_correction_percent: node.recorded_correction_percent,
        correction_percent: node.correction_percent,
    }
}
