//! A small invented job with a proposal.

use baytrim_jobs::JobState;
use baytrim_jobs::job_file::{self, Attachments};
use baytrim_jobs::open;
use baytrim_model::axis::Axis;
use baytrim_model::ids::{Actor, ProposalId, PullId, RevisionId, UnixMillis};
use baytrim_model::job::JobSpec;
use baytrim_model::limits::LimitName;
use baytrim_model::proposal::{FitSummary, NodeChange, NodeStatus, Proposal};
use baytrim_model::record::{JobEvent, JobRecord, RECORD_VERSION};
use baytrim_model::revision::TableKind;

/// The time of day of all tests.
pub(super) const NOW: UnixMillis = UnixMillis(1_790_000_000_000);

/// Returns a record of `event`.
pub(super) fn record(event: JobEvent) -> JobRecord {
    JobRecord {
        version: RECORD_VERSION,
        at: NOW,
        by: Actor("tuner".to_owned()),
        request_id: None,
        event,
    }
}

/// Returns the example job: 6 x 6 nodes of percent, all 0.
pub(super) fn spec() -> JobSpec {
    job_file::parse(job_file::EXAMPLE, &Attachments::new(), None).expect("valid")
}

/// Returns a job with 40 x 40 nodes.
pub(super) fn large_spec() -> JobSpec {
    let axis = |name: &str, step: f64| {
        let breakpoints = (1..=40).map(|index| f64::from(index) * step).collect();
        Axis::new(name, breakpoints).expect("increasing")
    };
    let mut spec = spec();
    spec.axes.rpm = axis("rpm", 262.5);
    spec.axes.plate_percent = axis("plate_percent", 2.5);
    spec.table.values = vec![0.0; 1600];
    spec.target_lambda = vec![0.9; 1600];
    spec
}

/// Returns an open proposal on a fresh job; `change` says what is done with each node.
pub(super) fn job(spec: JobSpec, change: &dyn Fn(usize) -> (f64, f64)) -> JobState {
    let opened = record(open::event(spec));
    let mut state = JobState::opened(&opened).expect("opens");
    let proposal = proposal(&state, change);
    let made = JobEvent::ProposalMade {
        proposal: Box::new(proposal),
    };
    state.apply(&record(made)).expect("follows");
    state
}

fn proposal(state: &JobState, change: &dyn Fn(usize) -> (f64, f64)) -> Proposal {
    let axes = &state.spec.axes;
    let nodes = (0..axes.node_count()).map(|index| {
        let (rpm, plate_percent) = axes.position(index);
        let (percent, measured_fraction) = change(index);
        node(rpm, plate_percent, percent, measured_fraction)
    });
    Proposal {
        start: None,
        bays: Vec::new(),
        table: TableKind::Fuel,
        grip: None,
        id: ProposalId(1),
        base_revision: RevisionId(0),
        pulls: vec![PullId(1)],
        created_at: NOW,
        created_by: Actor("tuner".to_owned()),
        done: None,
        valid_s: None,
        fit: FitSummary {
            estimator: "test".to_owned(),
            reading_count: 1000,
            noise_percent: 1.0,
            episode_percent: 0.8,
            pull_percent: 0.3,
            sensor_percent: 1.0,
            calibration_factor: 1.2,
            off_target_percent: 4.25,
            remarks: Vec::new(),
        },
        nodes: nodes.collect(),
    }
}

fn node(rpm: f64, plate_percent: f64, percent: f64, measured_fraction: f64) -> NodeChange {
    let (status, limited_by) = if percent == 0.0 {
        (NodeStatus::OnTarget, Vec::new())
    } else {
        (
            NodeStatus::Limited,
            vec![LimitName::Step, LimitName::Resolution],
        )
    };
    NodeChange {
        rpm,
        plate_percent,
        before: 0.0,
        after: percent,
        correction_percent: percent * 1.5,
        standard_error_percent: 0.5,
        total_standard_error_percent: 1.1,
        proposed_percent: percent,
        dwell_s: 4.0,
        visits: 3,
        measured_fraction,
        lambda_before: 0.95,
        target_lambda: 0.9,
        predicted_lambda: 0.91,
        predicted_lambda_interval: [0.88, 0.92],
        lean_risk: 0.01,
        limited_by,
        status,
    }
}
