//! From a node of a job, or of one of its proposals, back to what is behind its number.

use baytrim_estimate::{LogTrace, NodeTrace, PullEvidence, trace_log, trace_node};
use baytrim_model::bay::DelayChoice;
use baytrim_model::ids::{ProposalId, PullId, RevisionId};
use baytrim_model::samples::Samples;

use crate::kind::Fitted;
use crate::propose::{chosen_pulls, fitted};
use crate::pulls;
use crate::refusal::Refusal;
use crate::state::{JobState, PullEntry};

/// Most points that a trace shows of one pull.
pub const POINTS_MAX: usize = 1000;
/// Points that a trace shows of one pull where nobody gives another number.
pub const POINTS: usize = 200;

/// What is asked of a node.
#[derive(Debug, Clone, PartialEq)]
pub struct TraceAsk {
    /// The node.
    pub node: usize,
    /// The table that its correction counts from.
    pub revision: RevisionId,
    /// The pulls behind it.
    pub pulls: Vec<PullId>,
}

/// What is behind a node's number.
#[derive(Debug, Clone, PartialEq)]
pub struct Traced {
    /// Log fuel change that the node of the revision needs.
    pub need: f64,
    /// Its standard error without the sensor's bias, ln units.
    pub standard_error: f64,
    /// Standard deviation of the sensor's bias, ln units.
    pub sensor_error: f64,
    /// Share of the answer that is measured at the node, 0 to 1.
    pub measured_fraction: f64,
    /// Log fuel change of the revision from the base table at the node.
    pub log_trim: f64,
    /// What each pull adds, and where the uncertainty comes from.
    pub trace: NodeTrace,
}

/// Returns what a request asks of the node at (rpm, plate percent) `place`, of a proposal or of the job as it is
/// now without the pulls `excluded`.
///
/// # Errors
/// When there is no such proposal, pull or node, no pull is left, or pulls of a proposal are excluded.
pub fn ask(
    state: &JobState,
    proposal: Option<ProposalId>,
    place: Option<(f64, f64)>,
    excluded: &[PullId],
) -> Result<TraceAsk, Refusal> {
    let (revision, pulls) = match proposal {
        Some(id) => {
            if !excluded.is_empty() {
                return Err(Refusal::field(
                    "excluded_pulls",
                    "a proposal has its own pulls",
                    "ask of the job to leave pulls out",
                ));
            }
            let proposal = &state.proposal(id)?.proposal;
            if !proposal.table.is_fuel() {
                return Err(Refusal::field(
                    "name",
                    format!("{id} is a proposal for a grip table, which has no such nodes"),
                    "ask of a proposal for the fuel table, or of the job",
                ));
            }
            (proposal.base_revision, proposal.pulls.clone())
        }
        None => (state.head().id, chosen_pulls(state, excluded)?),
    };
    let node = place.and_then(|(rpm, plate)| state.spec.axes.find(rpm, plate));
    let node = node.ok_or_else(|| {
        Refusal::field(
            "node",
            match place {
                Some((rpm, plate)) => format!("{rpm} rpm, {plate} % is no node of the table"),
                None => "is not given".to_owned(),
            },
            "name a node by the breakpoints of both axes",
        )
    })?;
    Ok(TraceAsk {
        node,
        revision,
        pulls,
    })
}

/// Returns what is behind the node, from the `evidence` of the pulls asked for.
///
/// # Errors
/// When the evidence is empty or does not fit the job.
pub fn node(
    state: &JobState,
    ask: &TraceAsk,
    evidence: &[&PullEvidence],
) -> Result<Traced, Refusal> {
    let Fitted { fit, posterior, .. } = fitted(state, ask.revision, evidence)?;
    let log_trim = state.log_trim(state.revision(ask.revision)?)[ask.node];
    Ok(Traced {
        need: fit.theta[ask.node] - log_trim,
        standard_error: fit.standard_error[ask.node],
        sensor_error: fit.sensor_error,
        measured_fraction: fit.measured_fraction[ask.node],
        log_trim,
        trace: trace_node(&state.spec.axes, evidence, &fit, &posterior, ask.node),
    })
}

/// Returns what the log of `pull` says of `node`, judged as it was when the pull was taken.
///
/// # Errors
/// [`Refusal::Fields`] when the samples can't be read as a pull at all.
pub fn log(
    state: &JobState,
    pull: &PullEntry,
    samples: &Samples,
    node: usize,
    points_max: usize,
) -> Result<LogTrace, Refusal> {
    let circumstances = pulls::circumstances_of(&pull.record);
    let trim = pulls::trim_in_force(state, &circumstances)?;
    let gates = pulls::gates(state, &circumstances);
    let mut context = pulls::context(state, &circumstances, &trim, &gates)?;
    context.delay = DelayChoice::Given(pull.record.summary.delay.model);
    trace_log(samples, &context, node, points_max).map_err(|error| pulls::unreadable(&error))
}
