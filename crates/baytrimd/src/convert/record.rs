//! Records of the ledger, each with a sentence about it.

use baytrim_api::v1;
use baytrim_ledger::Record;
use baytrim_model::proposal::{NodeStatus, Proposal};
use baytrim_model::pull::PullRecord;
use baytrim_model::record::{JobEvent, JobRecord};
use baytrim_model::revision::{Revision, RevisionOrigin};

use super::time::timestamp;

/// Returns a record; `decoded` is what its body says.
pub fn record(record: &Record, decoded: &JobRecord, with_body: bool) -> v1::Record {
    let (kind, summary) = told(&decoded.event);
    let body = if with_body {
        String::from_utf8_lossy(&record.body).into_owned()
    } else {
        String::new()
    };
    v1::Record {
        sequence_number: record.seq,
        hash: record.hash.to_string(),
        previous_hash: record.prev_hash.to_string(),
        create_time: Some(timestamp(decoded.at)),
        actor: decoded.by.to_string(),
        kind: kind.to_owned(),
        summary,
        body,
    }
}

/// Returns the kind of an event, as its record writes it, and a sentence about it.
fn told(event: &JobEvent) -> (&'static str, String) {
    match event {
        JobEvent::JobOpened { spec } => {
            let (plates, speeds) = (spec.axes.plate_percent.len(), spec.axes.rpm.len());
            let title = &spec.title;
            let summary = format!("opened as {title:?}, with a table of {plates} x {speeds} nodes");
            ("job_opened", summary)
        }
        JobEvent::PullFinished { pull } => ("pull_finished", told_pull(pull)),
        JobEvent::ProposalMade { proposal } => ("proposal_made", told_proposal(proposal)),
        JobEvent::ProposalApproved {
            proposal,
            nodes,
            revision,
        } => {
            let (count, id, reason) = (nodes.len(), revision.id, &revision.reason);
            let summary =
                format!("{proposal} approved, {count} nodes taken, became {id}: {reason}");
            ("proposal_approved", summary)
        }
        JobEvent::ProposalRejected { proposal, reason } => (
            "proposal_rejected",
            format!("{proposal} rejected: {reason}"),
        ),
        JobEvent::TableReverted { revision } => ("table_reverted", told_revert(revision)),
        JobEvent::TableExported { revision, form, .. } => {
            ("table_exported", format!("{revision} exported as {form}"))
        }
    }
}

fn told_pull(pull: &PullRecord) -> String {
    let summary = &pull.summary;
    let source = match pull.source_name.as_str() {
        "" => "live".to_owned(),
        name => format!("from {name:?}"),
    };
    format!(
        "{} of bay {} under {}, {source}: {:.0} s, of which {:.0} s accepted",
        pull.id, pull.bay, pull.revision, summary.duration_s, summary.accepted_s
    )
}

fn told_proposal(proposal: &Proposal) -> String {
    let changed = [NodeStatus::Change, NodeStatus::Limited];
    let count = proposal
        .nodes
        .iter()
        .filter(|node| changed.contains(&node.status))
        .count();
    let pulls: Vec<String> = proposal.pulls.iter().map(ToString::to_string).collect();
    format!(
        "{} computed from {} against {}: {count} nodes change",
        proposal.id,
        pulls.join(", "),
        proposal.base_revision
    )
}

fn told_revert(revision: &Revision) -> String {
    match revision.origin {
        RevisionOrigin::Revert { to } => {
            format!("{to} put back as {}: {}", revision.id, revision.reason)
        }
        _ => format!("{} put in force: {}", revision.id, revision.reason),
    }
}
