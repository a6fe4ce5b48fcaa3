//! How bays read against each other at the same places of one job.

use std::collections::BTreeSet;

use baytrim_estimate::contrast::{PullContrast, pull_contrast};
use baytrim_estimate::{Posterior, PullEvidence};
use baytrim_model::ids::{BayName, PullId};
use baytrim_model::proposal::BayDifference;

use crate::state::JobState;

/// A difference of so many standard errors is told as one.
const TOLD_FROM: f64 = 2.0;

/// How one bay reads against the others of a job.
#[derive(Debug, Clone, PartialEq)]
pub struct BayContrast {
    /// The bay.
    pub bay: BayName,
    /// The difference; none where the pulls cannot tell.
    pub found: Option<PullContrast>,
}

/// Returns how each bay of `pulls`, from which `posterior` came, reads against the others; empty where all came from
/// one bay: a bias that all share is nothing that pulls can show.
pub fn contrasts(
    state: &JobState,
    pulls: &[PullId],
    evidence: &[&PullEvidence],
    posterior: &Posterior,
) -> Vec<BayContrast> {
    let bay_of = |pull: &PullId| state.pull(*pull).ok().map(|entry| &entry.record.bay);
    let bays: BTreeSet<&BayName> = pulls.iter().filter_map(bay_of).collect();
    if bays.len() < 2 {
        return Vec::new();
    }
    let contrast = |bay: &BayName| {
        let group: Vec<bool> = pulls.iter().map(|pull| bay_of(pull) == Some(bay)).collect();
        BayContrast {
            bay: bay.clone(),
            found: pull_contrast(evidence, posterior, &group),
        }
    };
    bays.into_iter().map(contrast).collect()
}

/// Returns those that could be told, for the record.
pub(crate) fn differences(contrasts: &[BayContrast]) -> Vec<BayDifference> {
    let difference = |contrast: &BayContrast| {
        let found = contrast.found?;
        Some(BayDifference {
            bay: contrast.bay.clone(),
            leaner_percent: 100.0 * found.difference,
            standard_error_percent: 100.0 * found.standard_error,
        })
    };
    contrasts.iter().filter_map(difference).collect()
}

/// Returns what a reviewer is told of them.
pub(crate) fn remarks(contrasts: &[BayContrast]) -> Vec<String> {
    // Of two bays one says it all.
    let count = if contrasts.len() == 2 {
        1
    } else {
        contrasts.len()
    };
    contrasts.iter().take(count).map(sentence).collect()
}

fn sentence(contrast: &BayContrast) -> String {
    let bay = &contrast.bay;
    let Some(found) = contrast.found else {
        return format!(
            "Whether bay {bay} reads as the other bays do cannot be told: their pulls hardly meet."
        );
    };
    let error = 100.0 * found.standard_error;
    let size = 100.0 * found.difference.abs();
    let word = if found.difference > 0.0 {
        "leaner"
    } else {
        "richer"
    };
    if found.difference.abs() >= TOLD_FROM * found.standard_error {
        format!(
            "Bay {bay} reads {size:.1} ± {error:.1} % {word} than the other bays at the same places: compare their sensors."
        )
    } else {
        format!("Bay {bay} reads as the other bays do, within {error:.1} % ({size:.1} % {word}).")
    }
}
