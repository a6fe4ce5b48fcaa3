//! Realised against predicted, for scripts.

use baytrim_api::v1::{LoadedChance, Realised, RealisedNode};
use serde::Serialize;

use crate::name::number;

/// What a pull shows of its revision.
#[derive(Debug, Serialize)]
pub(super) struct RealisedJson<'a> {
    pulls: Vec<&'a str>,
    previous_revision: &'a str,
    loaded: Vec<LoadedJson<'a>>,
    realised_fraction: Option<f64>,
    realised_fraction_error: Option<f64>,
    nodes: Vec<NodeJson>,
}

#[derive(Debug, Serialize)]
struct LoadedJson<'a> {
    revision: &'a str,
    probability: f64,
}

#[derive(Debug, Serialize)]
struct NodeJson {
    rpm: f64,
    plate_percent: f64,
    previous_lambda: f64,
    predicted_lambda: f64,
    realised_lambda: f64,
    difference_error_percent: f64,
}

impl<'a> From<&'a Realised> for RealisedJson<'a> {
    fn from(found: &'a Realised) -> Self {
        let error = found.realised_fraction_error;
        Self {
            pulls: found.pulls.iter().map(|name| number(name)).collect(),
            previous_revision: number(&found.previous_revision),
            loaded: found.loaded.iter().map(loaded).collect(),
            realised_fraction: found.realised_fraction,
            realised_fraction_error: found.realised_fraction.map(|_| error),
            nodes: found.nodes.iter().map(node).collect(),
        }
    }
}

fn loaded(chance: &LoadedChance) -> LoadedJson<'_> {
    LoadedJson {
        revision: number(&chance.revision),
        probability: chance.probability,
    }
}

fn node(node: &RealisedNode) -> NodeJson {
    NodeJson {
        rpm: node.rpm,
        plate_percent: node.plate_percent,
        previous_lambda: node.previous_lambda_ratio,
        predicted_lambda: node.predicted_lambda_ratio,
        realised_lambda: node.realised_lambda_ratio,
        difference_error_percent: node.difference_error_percent,
    }
}
