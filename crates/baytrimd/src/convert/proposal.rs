//! Proposals and verdicts.

use baytrim_api::v1;
use baytrim_jobs::JobState;
use baytrim_jobs::propose::CAUTIONS;
use baytrim_jobs::state::{ProposalEntry, ProposalStanding, VerdictEntry};
use baytrim_jobs::verdict;
use baytrim_model::library::{LibrarySource, StartingTable};
use baytrim_model::proposal::{DoneChance, FitSummary, NodeChange, Proposal};
use baytrim_model::record::{CommentPlace, Duty};
use baytrim_model::revision::TableKind;

use super::time::timestamp;
use super::{grip, name};
use crate::clock;

/// What the numbers of a grip table mean.
pub(super) const GRIP_CONTENT: &str = "plate_percent";

/// Returns a recorded proposal with its nodes.
pub fn whole(state: &JobState, entry: &ProposalEntry) -> v1::Proposal {
    v1::Proposal {
        nodes: entry.proposal.nodes.iter().map(node).collect(),
        grip_rows: grip_rows(&entry.proposal),
        comments: comments(entry),
        ..brief(state, entry)
    }
}

/// Returns what was said about a proposal.
pub fn comments(entry: &ProposalEntry) -> Vec<v1::Comment> {
    let numbered = (1..).zip(&entry.comments);
    let comments = numbered.map(|(number, comment)| {
        let (node, grip_percent) = match comment.node {
            None => (None, None),
            Some(CommentPlace::Node(node)) => (Some(node), None),
            Some(CommentPlace::Grip { grip_percent }) => (None, Some(grip_percent)),
        };
        v1::Comment {
            number,
            author: comment.by.to_string(),
            create_time: Some(timestamp(comment.at)),
            text: comment.text.clone(),
            rpm: node.map(|node| node.rpm),
            plate_percent: node.map(|node| node.plate_percent),
            grip_percent,
        }
    });
    comments.collect()
}

/// Returns a recorded proposal without its nodes.
pub fn brief(state: &JobState, entry: &ProposalEntry) -> v1::Proposal {
    let standing = match state.standing(entry, clock::now()) {
        ProposalStanding::Open => v1::proposal::State::Open,
        ProposalStanding::Approved => v1::proposal::State::Approved,
        ProposalStanding::Rejected => v1::proposal::State::Rejected,
        ProposalStanding::Stale => v1::proposal::State::Stale,
        ProposalStanding::Expired => v1::proposal::State::Expired,
    };
    v1::Proposal {
        name: name::proposal(state.id(), entry.proposal.id),
        state: standing.into(),
        etag: verdict::etag(&entry.proposal),
        verdict: entry.verdict.as_ref().map(given),
        ..facts(state, &entry.proposal)
    }
}

/// Returns a proposal that was only computed, not recorded: without name, state and etag.
pub fn checked(state: &JobState, proposal: &Proposal) -> v1::Proposal {
    v1::Proposal {
        nodes: proposal.nodes.iter().map(node).collect(),
        grip_rows: grip_rows(proposal),
        ..facts(state, proposal)
    }
}

fn grip_rows(proposal: &Proposal) -> Vec<v1::GripRow> {
    let rows = proposal.grip.iter().flat_map(|grip| &grip.rows);
    rows.map(grip::row).collect()
}

/// Returns what belongs to the one table or the other: axes, what the numbers mean, cautions.
fn of_table(state: &JobState, table: &TableKind) -> v1::Proposal {
    let Some(mode) = table.mode() else {
        let axes = &state.spec.axes;
        return v1::Proposal {
            content: state.spec.table.content.as_str().to_owned(),
            rpm: axes.rpm.breakpoints().to_vec(),
            plate_percent: axes.plate_percent.breakpoints().to_vec(),
            cautions: CAUTIONS.map(str::to_owned).to_vec(),
            ..v1::Proposal::default()
        };
    };
    let spec = state.spec.grip.get(mode);
    v1::Proposal {
        grip_mode: mode.to_string(),
        content: GRIP_CONTENT.to_owned(),
        rpm: spec.map(|spec| spec.rpm.clone()).unwrap_or_default(),
        cautions: baytrim_jobs::grip::CAUTIONS.map(str::to_owned).to_vec(),
        ..v1::Proposal::default()
    }
}

fn facts(state: &JobState, proposal: &Proposal) -> v1::Proposal {
    v1::Proposal {
        base_revision: proposal.base_revision.to_string(),
        pulls: proposal.pulls.iter().map(ToString::to_string).collect(),
        create_time: Some(timestamp(proposal.created_at)),
        creator: proposal.created_by.to_string(),
        expire_time: proposal.expires_at().map(timestamp),
        fit: Some(fit(&proposal.fit)),
        done: proposal.done.as_ref().map(done),
        start: proposal.start.as_deref().map(start),
        change_count: u32::try_from(proposal.change_count()).unwrap_or(u32::MAX),
        ..of_table(state, &proposal.table)
    }
}

fn start(start: &StartingTable) -> v1::StartingTable {
    let spread = &start.prior.spread;
    v1::StartingTable {
        sources: start.sources.iter().map(source).collect(),
        level_percent: spread.level_percent,
        shape_percent: spread.shape_percent,
        rough_percent: spread.rough_percent,
    }
}

fn source(source: &LibrarySource) -> v1::LibrarySource {
    v1::LibrarySource {
        job: name::job(&source.job),
        revision: source.revision.to_string(),
        proposal: source.proposal.to_string(),
        pulls: source.pulls.iter().map(ToString::to_string).collect(),
        record_count: source.record_count,
        record_hash: source.record_hash.clone(),
    }
}

fn node(node: &NodeChange) -> v1::NodeChange {
    let [low, high] = node.predicted_lambda_interval;
    v1::NodeChange {
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
        lambda_ratio_before: node.lambda_before,
        target_lambda_ratio: node.target_lambda,
        predicted_lambda_ratio: node.predicted_lambda,
        predicted_lambda_ratio_low: low,
        predicted_lambda_ratio_high: high,
        lean_risk: node.lean_risk,
        limited_by: node.limited_by.iter().map(ToString::to_string).collect(),
        status: node.status.to_string(),
    }
}

/// Returns the chance that a job is done.
pub(super) fn done(done: &DoneChance) -> v1::DoneChance {
    v1::DoneChance {
        tolerance_percent: done.tolerance_percent,
        node_count: done.node_count,
        probability: done.probability,
        within_fraction: done.share,
        proposed_probability: done.proposed_probability,
        proposed_within_fraction: done.proposed_share,
    }
}

fn fit(fit: &FitSummary) -> v1::FitSummary {
    v1::FitSummary {
        estimator: fit.estimator.clone(),
        reading_count: fit.reading_count,
        noise_percent: fit.noise_percent,
        episode_percent: fit.episode_percent,
        pull_percent: fit.pull_percent,
        sensor_percent: fit.sensor_percent,
        calibration_factor: fit.calibration_factor,
        off_target_percent: fit.off_target_percent,
        remarks: fit.remarks.clone(),
    }
}

fn given(verdict: &VerdictEntry) -> v1::Verdict {
    let (revision, nodes) = match &verdict.approved {
        Some((revision, nodes)) => (revision.to_string(), nodes.len()),
        None => (String::new(), 0),
    };
    v1::Verdict {
        approved: verdict.approved.is_some(),
        reviewer: verdict.by.to_string(),
        create_time: Some(timestamp(verdict.at)),
        reason: verdict.reason.clone(),
        revision,
        approved_node_count: u32::try_from(nodes).unwrap_or(u32::MAX),
        reduced_node_count: u32::try_from(verdict.reduced.len()).unwrap_or(u32::MAX),
        one_person: verdict.duty == Some(Duty::OnePerson),
    }
}
