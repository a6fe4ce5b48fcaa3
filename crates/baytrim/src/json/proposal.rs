//! Proposals for scripts.

use baytrim_api::v1::{Comment, FitSummary, NodeChange, Proposal, Verdict};
use serde::Serialize;

use super::grip::{self, GripRowJson};
use super::library::StartJson;
use super::plan::DoneJson;
use crate::name::{job_of, number, short};
use crate::render::proposal::{is_recorded, state_name};

/// A proposal with its nodes.
#[derive(Debug, Serialize)]
pub(crate) struct ProposalJson<'a> {
    id: Option<String>,
    job: &'a str,
    state: Option<&'static str>,
    base_revision: &'a str,
    pulls: Vec<&'a str>,
    etag: &'a str,
    create_time: Option<String>,
    expire_time: Option<String>,
    creator: &'a str,
    content: &'a str,
    change_count: u32,
    rpm: &'a [f64],
    plate_percent: &'a [f64],
    nodes: Vec<NodeJson<'a>>,
    grip_mode: Option<&'a str>,
    grip_rows: Vec<GripRowJson<'a>>,
    fit: Option<FitJson<'a>>,
    done: Option<DoneJson>,
    start: Option<StartJson<'a>>,
    cautions: &'a [String],
    verdict: Option<VerdictJson<'a>>,
    comments: Vec<CommentJson<'a>>,
}

/// Proposals of a job, without nodes.
#[derive(Debug, Serialize)]
pub(crate) struct ProposalsJson<'a> {
    job: String,
    proposals: Vec<ProposalRowJson<'a>>,
}

#[derive(Debug, Serialize)]
struct ProposalRowJson<'a> {
    id: String,
    state: &'static str,
    base_revision: &'a str,
    pulls: Vec<&'a str>,
    etag: &'a str,
    create_time: Option<String>,
    expire_time: Option<String>,
    creator: &'a str,
    change_count: u32,
    grip_mode: Option<&'a str>,
    fit: Option<FitJson<'a>>,
    verdict: Option<VerdictJson<'a>>,
}

#[derive(Debug, Serialize)]
struct NodeJson<'a> {
    rpm: f64,
    plate_percent: f64,
    before: f64,
    after: f64,
    correction_percent: f64,
    standard_error_percent: f64,
    total_standard_error_percent: f64,
    proposed_percent: f64,
    dwell_s: f64,
    visits: u32,
    measured_fraction: f64,
    lambda_before: f64,
    target_lambda: f64,
    predicted_lambda: f64,
    predicted_lambda_low: f64,
    predicted_lambda_high: f64,
    lean_risk: f64,
    limited_by: &'a [String],
    status: &'a str,
}

#[derive(Debug, Serialize)]
struct FitJson<'a> {
    estimator: &'a str,
    reading_count: u64,
    noise_percent: f64,
    episode_percent: f64,
    pull_percent: f64,
    sensor_percent: f64,
    calibration_factor: f64,
    off_target_percent: f64,
    remarks: &'a [String],
}

/// A verdict.
#[derive(Debug, Serialize)]
pub(crate) struct VerdictJson<'a> {
    approved: bool,
    reviewer: &'a str,
    create_time: Option<String>,
    reason: &'a str,
    revision: Option<&'a str>,
    approved_node_count: u32,
    reduced_node_count: u32,
    one_person: bool,
}

impl<'a> From<&'a Proposal> for ProposalJson<'a> {
    fn from(proposal: &'a Proposal) -> Self {
        Self {
            id: is_recorded(proposal).then(|| short(&proposal.name)),
            job: job_of(&proposal.name),
            state: is_recorded(proposal).then(|| state_name(proposal.state())),
            base_revision: number(&proposal.base_revision),
            pulls: numbers(&proposal.pulls),
            etag: &proposal.etag,
            create_time: proposal.create_time.map(|time| time.to_string()),
            expire_time: proposal.expire_time.map(|time| time.to_string()),
            creator: &proposal.creator,
            content: &proposal.content,
            change_count: proposal.change_count,
            rpm: &proposal.rpm,
            plate_percent: &proposal.plate_percent,
            nodes: proposal.nodes.iter().map(node).collect(),
            grip_mode: some(&proposal.grip_mode),
            grip_rows: proposal.grip_rows.iter().map(grip::row).collect(),
            fit: proposal.fit.as_ref().map(fit),
            done: proposal.done.as_ref().map(DoneJson::from),
            start: proposal.start.as_ref().map(StartJson::from),
            cautions: &proposal.cautions,
            verdict: proposal.verdict.as_ref().map(verdict),
            comments: proposal.comments.iter().map(comment).collect(),
        }
    }
}

impl<'a> ProposalsJson<'a> {
    /// Returns the proposals of `job`.
    pub(crate) fn new(job: String, proposals: &'a [Proposal]) -> Self {
        Self {
            job,
            proposals: proposals.iter().map(row).collect(),
        }
    }
}

fn row(proposal: &Proposal) -> ProposalRowJson<'_> {
    ProposalRowJson {
        id: short(&proposal.name),
        state: state_name(proposal.state()),
        base_revision: number(&proposal.base_revision),
        pulls: numbers(&proposal.pulls),
        etag: &proposal.etag,
        create_time: proposal.create_time.map(|time| time.to_string()),
        expire_time: proposal.expire_time.map(|time| time.to_string()),
        creator: &proposal.creator,
        change_count: proposal.change_count,
        grip_mode: some(&proposal.grip_mode),
        fit: proposal.fit.as_ref().map(fit),
        verdict: proposal.verdict.as_ref().map(verdict),
    }
}

/// Returns a name; none for the empty one.
pub(super) fn some(name: &str) -> Option<&str> {
    (!name.is_empty()).then_some(name)
}

fn numbers(names: &[String]) -> Vec<&str> {
    names.iter().map(|name| number(name)).collect()
}

fn node(node: &NodeChange) -> NodeJson<'_> {
    NodeJson {
        rpm: node.rpm,
        plate_percent: node.plate_percent,
        before: node.before,
        after: node.after,
        correction_percent: node.correction_percent,
        standard_error_percent: node.standard_error_percent,
        total_standard_error_percent: node.total_standard_error_percent,
        proposed_percent: node.proposed_percent,
        dwell_s: node.dwell_s,
        visits: node.visits,
        measured_fraction: node.measured_fraction,
        lambda_before: node.lambda_ratio_before,
        target_lambda: node.target_lambda_ratio,
        predicted_lambda: node.predicted_lambda_ratio,
        predicted_lambda_low: node.predicted_lambda_ratio_low,
        predicted_lambda_high: node.predicted_lambda_ratio_high,
        lean_risk: node.lean_risk,
        limited_by: &node.limited_by,
        status: &node.status,
    }
}

fn fit(fit: &FitSummary) -> FitJson<'_> {
    FitJson {
        estimator: &fit.estimator,
        reading_count: fit.reading_count,
        noise_percent: fit.noise_percent,
        episode_percent: fit.episode_percent,
        pull_percent: fit.pull_percent,
        sensor_percent: fit.sensor_percent,
        calibration_factor: fit.calibration_factor,
        off_target_percent: fit.off_target_percent,
        remarks: &fit.remarks,
    }
}

fn verdict(verdict: &Verdict) -> VerdictJson<'_> {
    VerdictJson {
        approved: verdict.approved,
        reviewer: &verdict.reviewer,
        create_time: verdict.create_time.map(|time| time.to_string()),
        reason: &verdict.reason,
        revision: (!verdict.revision.is_empty()).then(|| number(&verdict.revision)),
        approved_node_count: verdict.approved_node_count,
        reduced_node_count: verdict.reduced_node_count,
        one_person: verdict.one_person,
    }
}

#[derive(Debug, Serialize)]
struct CommentJson<'a> {
    number: u32,
    author: &'a str,
    create_time: Option<String>,
    rpm: Option<f64>,
    plate_percent: Option<f64>,
    grip_percent: Option<f64>,
    text: &'a str,
}

fn comment(comment: &Comment) -> CommentJson<'_> {
    CommentJson {
        number: comment.number,
        author: &comment.author,
        create_time: comment.create_time.map(|time| time.to_string()),
        rpm: comment.rpm,
        plate_percent: comment.plate_percent,
        grip_percent: comment.grip_percent,
        text: &comment.text,
    }
}

/// A comment that was made.
#[derive(Debug, Serialize)]
pub(crate) struct SaidJson<'a> {
    id: String,
    job: &'a str,
    comment: CommentJson<'a>,
}

impl<'a> SaidJson<'a> {
    /// Returns a comment on `proposal`, a full name.
    pub(crate) fn new(proposal: &'a str, said: &'a Comment) -> Self {
        Self {
            id: short(proposal),
            job: job_of(proposal),
            comment: comment(said),
        }
    }
}

/// A proposal after a verdict, without nodes, with the revision that came of it.
#[derive(Debug, Serialize)]
pub(crate) struct DecidedJson<'a> {
    id: String,
    job: &'a str,
    state: &'static str,
    verdict: Option<VerdictJson<'a>>,
    revision: Option<&'a str>,
}

impl<'a> From<&'a Proposal> for DecidedJson<'a> {
    fn from(proposal: &'a Proposal) -> Self {
        let verdict = proposal.verdict.as_ref().map(verdict);
        Self {
            id: short(&proposal.name),
            job: job_of(&proposal.name),
            state: state_name(proposal.state()),
            revision: verdict.as_ref().and_then(|verdict| verdict.revision),
            verdict,
        }
    }
}
