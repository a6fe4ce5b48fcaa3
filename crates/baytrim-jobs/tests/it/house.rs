//! A small invented job to decide upon.

use baytrim_jobs::job_file::{self, Attachments};
use baytrim_jobs::verdict::{self, Ask, Rules};
use baytrim_jobs::{JobState, open, propose};
use baytrim_model::ids::{Actor, ProposalId, RequestId, RevisionId, UnixMillis};
use baytrim_model::proposal::{FitSummary, NodeChange, NodeStatus, Proposal};
use baytrim_model::record::{JobEvent, JobRecord, RECORD_VERSION};
use baytrim_model::revision::TableKind;

/// Returns a record of `event`, made by `by`.
pub(crate) fn record(event: JobEvent, by: &str, request_id: Option<&str>) -> JobRecord {
    JobRecord {
        version: RECORD_VERSION,
        at: UnixMillis(1_790_000_000_000),
        by: Actor(by.to_owned()),
        request_id: request_id.map(|id| RequestId(id.to_owned())),
        event,
    }
}

/// Returns the records of a freshly opened job: 6 x 6 nodes of percent, all 0.
pub(crate) fn opened() -> Vec<JobRecord> {
    let spec = job_file::parse(job_file::EXAMPLE, &Attachments::new(), None).expect("valid");
    vec![record(open::event(spec), "tuner", Some("open-1"))]
}

/// Returns the job that `records` tell.
pub(crate) fn fold(records: &[JobRecord]) -> JobState {
    JobState::fold(records.iter()).expect("records in order")
}

/// Returns a proposal that turns the value of each of `changes` (node, value) and keeps the rest.
pub(crate) fn proposal(state: &JobState, changes: &[(usize, f64)]) -> Proposal {
    let axes = &state.spec.axes;
    let before = &state.head().values;
    let nodes = (0..axes.node_count()).map(|node| {
        let (rpm, plate_percent) = axes.position(node);
        let change = changes.iter().find(|change| change.0 == node);
        let after = change.map_or(before[node], |change| change.1);
        NodeChange {
            rpm,
            plate_percent,
            before: before[node],
            after,
            correction_percent: after - before[node],
            standard_error_percent: 0.5,
            total_standard_error_percent: 1.1,
            proposed_percent: after - before[node],
            dwell_s: 4.0,
            visits: 3,
            measured_fraction: 0.9,
            lambda_before: 0.95,
            target_lambda: 0.9,
            predicted_lambda: 0.9,
            predicted_lambda_interval: [0.88, 0.92],
            lean_risk: 0.01,
            limited_by: Vec::new(),
            status: if change.is_some() {
                NodeStatus::Change
            } else {
                NodeStatus::OnTarget
            },
        }
    });
    Proposal {
        start: None,
        bays: Vec::new(),
        table: TableKind::Fuel,
        grip: None,
        id: state.next_proposal(),
        base_revision: state.head().id,
        pulls: Vec::new(),
        created_at: UnixMillis(1_790_000_000_000),
        created_by: Actor("tuner".to_owned()),
        valid_s: None,
        done: None,
        fit: FitSummary {
            estimator: "test 1".to_owned(),
            reading_count: 100,
            noise_percent: 1.0,
            episode_percent: 0.6,
            pull_percent: 0.4,
            sensor_percent: 1.0,
            calibration_factor: 1.0,
            off_target_percent: 4.0,
            remarks: Vec::new(),
        },
        nodes: nodes.collect(),
    }
}

/// Returns an opened job with one open proposal.
pub(crate) fn proposed(changes: &[(usize, f64)]) -> Vec<JobRecord> {
    let mut records = opened();
    let made = propose::event(proposal(&fold(&records), changes));
    records.push(record(made, "tuner", Some("propose-1")));
    records
}

/// Returns the verdict that a reviewer asks for on `c1`, with the right etag.
pub(crate) fn ask(state: &JobState, reason: &str) -> Ask {
    let entry = state.proposal(ProposalId(1)).expect("there");
    Ask {
        proposal: ProposalId(1),
        etag: verdict::etag(&entry.proposal),
        reason: reason.to_owned(),
        at: UnixMillis(1_790_000_100_000),
        by: Actor("reviewer".to_owned()),
    }
}

/// The rules of a shop of several people, where capitals make no difference between names.
pub(crate) fn several() -> Rules<'static> {
    Rules {
        one_person: false,
        is_same_hand: &|one, other| one.0.eq_ignore_ascii_case(&other.0),
    }
}

/// Returns a revision number.
pub(crate) fn revision(number: u32) -> RevisionId {
    RevisionId(number)
}
