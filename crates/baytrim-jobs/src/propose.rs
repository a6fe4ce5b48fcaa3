//! Planning a proposal from the evidence of a job's pulls.

use baytrim_estimate::limit::{NodeEstimates, propose_nodes};
use baytrim_estimate::{Fit, Posterior, PullEvidence};
use baytrim_model::ids::{Actor, PullId, RevisionId, UnixMillis};
use baytrim_model::proposal::{DoneChance, NodeChange, Proposal};
use baytrim_model::record::JobEvent;
use baytrim_model::revision::TableKind;

use crate::bay_contrast;
use crate::bay_delay;
use crate::false_lean;
use crate::kind::{self, Fitted};
use crate::refusal::Refusal;
use crate::sensors;
use crate::state::JobState;

/// Cautions that go with every proposal, page and export.
pub const CAUTIONS: [&str; 4] = [
    "This is advice. A licensed, competent person decides, and answers for the engine and its rider.",
    "Too lean a mixture under load destroys engines and hurts riders: check the next pull before riding.",
    "A running engine gives off carbon monoxide and can throw parts: extract the exhaust, keep clear.",
    "Local emissions and road law comes first; disabling overrun cut or secondary air may be unlawful on the road.",
];

/// Returns the pulls that a proposal is to be computed from: all that were run with the parts that are fitted now, but
/// `excluded`.
///
/// # Errors
/// When an excluded pull is not one of the job's, or none is left.
pub fn chosen_pulls(state: &JobState, excluded: &[PullId]) -> Result<Vec<PullId>, Refusal> {
    for &pull in excluded {
        state.pull(pull)?;
    }
    let ids = state.present_pulls().map(|entry| entry.record.id);
    let pulls: Vec<PullId> = ids.filter(|id| !excluded.contains(id)).collect();
    if pulls.is_empty() {
        return Err(Refusal::NoPulls {
            job: state.id().clone(),
            parts_since: (!state.pulls.is_empty()).then(|| state.parts_since()),
        });
    }
    Ok(pulls)
}

/// Says which pulls are left out since parts were fitted after them; none where there are none.
fn parts_remark(state: &JobState, pulls: &[PullId]) -> Option<String> {
    let before = state
        .pulls
        .iter()
        .filter(|pull| !state.has_present_parts(pull) && !pulls.contains(&pull.record.id));
    let before: Vec<String> = before.map(|pull| pull.record.id.to_string()).collect();
    (!before.is_empty()).then(|| {
        format!(
            "Left out, since parts were fitted after them (stage {}): {}.",
            state.parts_since(),
            before.join(", ")
        )
    })
}

/// Returns the proposal that `evidence`, one entry per pull of `pulls`, leads to. It can be approved for `valid_s`
/// seconds; none: for ever.
///
/// # Errors
/// When the evidence is empty or does not fit the job.
pub fn plan(
    state: &JobState,
    pulls: &[PullId],
    evidence: &[&PullEvidence],
    at: UnixMillis,
    by: &Actor,
    valid_s: Option<u64>,
) -> Result<Proposal, Refusal> {
    let spec = &state.spec;
    let Fitted {
        mut fit,
        posterior,
        least_fuel,
        remark,
    } = fitted(state, state.head().id, evidence)?;
    let doubts = false_lean::doubts(state, pulls, evidence, &posterior)?;
    let nodes = propose_nodes(
        &spec.axes,
        &spec.table,
        &spec.target_lambda,
        &spec.limits,
        &state.head().values,
        &estimates(&fit, &doubts.nodes, &least_fuel),
    )
    .map_err(|error| misfit(error.to_string()))?;
    fit.summary.remarks.splice(0..0, remark);
    fit.summary.remarks.extend(parts_remark(state, pulls));
    fit.summary.remarks.extend(doubts.remarks);
    let contrasts = bay_contrast::contrasts(state, pulls, evidence, &posterior);
    fit.summary
        .remarks
        .extend(bay_contrast::remarks(&contrasts));
    let records = || {
        let entries = pulls.iter().filter_map(|&id| state.pull(id).ok());
        entries.map(|entry| &entry.record)
    };
    fit.summary.remarks.extend(bay_delay::remark(records()));
    fit.summary.remarks.extend(sensors::remark(records()));
    // The fit itself counts from the base table.
    fit.summary.off_target_percent = fit.off_target_percent(&state.log_trim(state.head()));
    Ok(Proposal {
        id: state.next_proposal(),
        table: TableKind::Fuel,
        base_revision: state.head().id,
        pulls: pulls.to_vec(),
        created_at: at,
        created_by: by.clone(),
        valid_s,
        done: done(state, &fit, &posterior, &nodes),
        fit: fit.summary,
        nodes,
        start: None,
        grip: None,
        bays: bay_contrast::differences(&contrasts),
    })
}

/// Returns the fit of `evidence` with what it leaves unknown, for a table of `revision`.
///
/// # Errors
/// When there is no reading in it, or it does not fit the job.
pub(crate) fn fitted(
    state: &JobState,
    revision: RevisionId,
    evidence: &[&PullEvidence],
) -> Result<Fitted, Refusal> {
    let settings = sensors::settings(state.pulls.iter().map(|entry| &entry.record));
    let fitted = kind::fitted(state, revision, evidence, &settings)?;
    if fitted.fit.summary.reading_count == 0 {
        return Err(Refusal::NoEvidence(state.id().clone()));
    }
    Ok(fitted)
}

/// Tolerance of the stop rule where nobody gives another, percent of lambda. Common practice: what an engine
/// does not feel.
pub const TOLERANCE_PERCENT: f64 = 3.0;

/// Returns the chance that every visited node is within tolerance, as it is and with `nodes`.
fn done(
    state: &JobState,
    fit: &Fit,
    posterior: &Posterior,
    nodes: &[NodeChange],
) -> Option<DoneChance> {
    let region: Vec<usize> = (0..fit.visits.len())
        .filter(|&node| fit.visits[node] > 0)
        .collect();
    let content = state.spec.table.content;
    let pairs = nodes.iter().zip(&state.spec.table.values);
    let proposed: Vec<f64> = pairs
        .map(|(node, &base)| (content.fuel(node.after) / content.fuel(base)).ln())
        .collect();
    let tolerance = TOLERANCE_PERCENT / 100.0;
    let trims = [state.log_trim(state.head()), proposed];
    let found = posterior.within_each(&[&trims[0], &trims[1]], &region, tolerance)?;
    let (now, then) = (found.first()?, found.get(1)?);
    Some(DoneChance {
        tolerance_percent: TOLERANCE_PERCENT,
        node_count: u32::try_from(region.len()).unwrap_or(u32::MAX),
        probability: now.every_node,
        share: now.share,
        proposed_probability: Some(then.every_node),
        proposed_share: Some(then.share),
    })
}

/// Returns the event that records a proposal.
pub fn event(proposal: Proposal) -> JobEvent {
    JobEvent::ProposalMade {
        proposal: Box::new(proposal),
    }
}

fn estimates<'a>(fit: &'a Fit, false_lean: &'a [bool], least_fuel: &'a [f64]) -> NodeEstimates<'a> {
    NodeEstimates {
        theta: &fit.theta,
        standard_error: &fit.standard_error,
        sensor_error: fit.sensor_error,
        dwell_s: &fit.dwell_s,
        visits: &fit.visits,
        measured_fraction: &fit.measured_fraction,
        false_lean,
        least_fuel,
    }
}

pub(crate) fn misfit(problem: String) -> Refusal {
    Refusal::field("evidence", problem, "check the job's pulls")
}
