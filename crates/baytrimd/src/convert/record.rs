//! Records of the ledger, each with a sentence about it.

use baytrim_api::v1;
use baytrim_ledger::Record;
use baytrim_model::proposal::{NodeStatus, Proposal};
use baytrim_model::pull::PullRecord;
use baytrim_model::record::{
    BayEvent, BayRecord, CommentPlace, Duty, JobEvent, JobRecord, StreamRecord,
};
use baytrim_model::revision::{Revision, RevisionOrigin};

use super::time::timestamp;

/// Returns a record of a job; `decoded` is what its body says.
pub fn of_job(record: &Record, decoded: &JobRecord, with_body: bool) -> v1::Record {
    of_stream(record, decoded, told(&decoded.event), with_body)
}

/// Returns a record of a bay; `decoded` is what its body says.
pub fn of_bay(record: &Record, decoded: &BayRecord, with_body: bool) -> v1::Record {
    of_stream(record, decoded, told_of_bay(&decoded.event), with_body)
}

fn of_stream<E>(
    record: &Record,
    decoded: &StreamRecord<E>,
    (kind, summary): (&'static str, String),
    with_body: bool,
) -> v1::Record {
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
            reduced,
            duty,
            revision,
        } => {
            let (count, id, reason) = (nodes.len(), revision.id, &revision.reason);
            let less = match reduced.len() {
                0 => String::new(),
                count => format!(", {count} of them less than proposed"),
            };
            let summary = format!(
                "{proposal} approved{}, {count} nodes taken{less}, became {id}: {reason}",
                told_duty(*duty)
            );
            ("proposal_approved", summary)
        }
        JobEvent::ProposalRejected {
            proposal,
            reason,
            duty,
        } => (
            "proposal_rejected",
            format!("{proposal} rejected{}: {reason}", told_duty(*duty)),
        ),
        JobEvent::CommentMade {
            proposal,
            number,
            node,
            text,
        } => {
            let place = match node {
                None => String::new(),
                Some(CommentPlace::Node(node)) => {
                    format!(" at {} rpm, {} %", node.rpm, node.plate_percent)
                }
                Some(CommentPlace::Grip { grip_percent }) => format!(" at {grip_percent} % grip"),
            };
            let summary = format!("comment {number} on {proposal}{place}: {text}");
            ("comment_made", summary)
        }
        JobEvent::StageBegun { stage } => {
            let notes = match stage.notes.as_str() {
                "" => String::new(),
                notes => format!(": {notes}"),
            };
            let summary = format!("stage {} begun, {}{notes}", stage.id, stage.title);
            ("stage_begun", summary)
        }
        JobEvent::PullAssigned {
            pull,
            stage,
            reason,
        } => (
            "pull_assigned",
            format!("{pull} put under stage {stage}: {reason}"),
        ),
        JobEvent::JobClosed { reason } => ("job_closed", format!("closed: {reason}")),
        JobEvent::JobReopened { reason } => ("job_reopened", format!("taken up again: {reason}")),
        JobEvent::TableReverted { revision } => ("table_reverted", told_revert(revision)),
        JobEvent::TableExported { revision, form, .. } => {
            ("table_exported", format!("{revision} exported as {form}"))
        }
    }
}

fn told_duty(duty: Option<Duty>) -> &'static str {
    match duty {
        Some(Duty::OnePerson) => " in a shop of one person",
        None => "",
    }
}

fn told_of_bay(event: &BayEvent) -> (&'static str, String) {
    match event {
        BayEvent::ChannelMapSet {
            id, map, reason, ..
        } => {
            let count = map.channels.len();
            let why = match reason.as_str() {
                "" => String::new(),
                reason => format!(": {reason}"),
            };
            let summary = format!("channel map {id} put in force, {count} quantities{why}");
            ("channel_map_set", summary)
        }
        BayEvent::DelayLearnt {
            job, pull, delay, ..
        } => {
            let model = &delay.model;
            let summary = format!(
                "{pull} of {job} told the delay: {:.2} cycles, {:.2} l, lag {:.3} s",
                model.cycles, model.gas_volume_l, model.lag_s
            );
            ("delay_learnt", summary)
        }
        BayEvent::SensorChecked {
            oxygen_percent,
            notes,
        } => {
            let notes = match notes.as_str() {
                "" => String::new(),
                notes => format!(": {notes}"),
            };
            let summary =
                format!("its sensor showed {oxygen_percent:.1} % oxygen in free air{notes}");
            ("sensor_checked", summary)
        }
        BayEvent::ReadingCompared {
            job,
            proposal,
            leaner_percent,
            standard_error_percent,
        } => {
            let summary = format!(
                "by {proposal} of {job} it reads {leaner_percent:+.1} \u{b1} {standard_error_percent:.1} % against the other bays (+ is leaner)"
            );
            ("reading_compared", summary)
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
    if let Some(mode) = proposal.table.mode() {
        let pulls: Vec<String> = proposal.pulls.iter().map(ToString::to_string).collect();
        return format!(
            "{} for the grip table of mode {mode} computed from {} against {}: {} grips change",
            proposal.id,
            pulls.join(", "),
            proposal.base_revision,
            proposal.change_count()
        );
    }
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
