//! One refusal of every kind.

use baytrim_jobs::Refusal;
use baytrim_jobs::refusal::LibraryRefusal;
use baytrim_model::ids::{
    ChannelMapId, ModeName, ProposalId, PullId, RevisionId, StageId, UnixMillis,
};

use super::{bay, field, job};
use crate::fault::Fault;

pub(super) fn refusals() -> Vec<Fault> {
    let (job, proposal) = (job(), ProposalId(2));
    let refusals = [
        Refusal::Fields(vec![
            field("limits.step_percent"),
            field("limits.total_percent"),
        ]),
        Refusal::JobExists(job.clone()),
        Refusal::JobUnknown("quoll-9".to_owned()),
        Refusal::BayUnknown {
            job: job.clone(),
            bay: "north".to_owned(),
            known: "east, west".to_owned(),
        },
        Refusal::PullUnknown {
            job: job.clone(),
            pull: PullId(3),
        },
        Refusal::ProposalUnknown {
            job: job.clone(),
            proposal,
        },
        Refusal::RevisionUnknown {
            job: job.clone(),
            revision: RevisionId(7),
            latest: RevisionId(1),
        },
        Refusal::NoPulls {
            job: job.clone(),
            parts_since: None,
        },
        Refusal::NoPulls {
            job: job.clone(),
            parts_since: Some(StageId(2)),
        },
        Refusal::NoEvidence(job.clone()),
        Refusal::Stale {
            job: job.clone(),
            proposal,
            base: RevisionId(0),
            head: RevisionId(1),
        },
        Refusal::Decided {
            job: job.clone(),
            proposal,
            verdict: "approved",
            by: "Ines".to_owned(),
            at: UnixMillis(1_795_592_812_000),
            revision: Some(RevisionId(1)),
        },
        Refusal::Expired {
            job: job.clone(),
            proposal,
            at: UnixMillis(1_795_592_812_000),
            valid_s: 86_400,
        },
        Refusal::SameHand {
            job: job.clone(),
            proposal,
            proposer: "Ines".to_owned(),
            reviewer: "ines".to_owned(),
        },
        Refusal::HandUnknown {
            job: job.clone(),
            proposal,
            what: "who approves it",
            remedy: "say who you are",
        },
        Refusal::EtagMismatch {
            what: "quoll-1/c2".to_owned(),
        },
        Refusal::NothingToApprove {
            job: job.clone(),
            proposal,
        },
        Refusal::SubsetBreaksNeighbour {
            rpm: 4000.0,
            plate_percent: 25.0,
            neighbour_rpm: 4500.0,
            neighbour_plate_percent: 25.0,
            pair_count: 3,
            neighbour_percent: 12.0,
        },
        Refusal::CommentsFull {
            job: job.clone(),
            proposal,
            max: 200,
        },
        Refusal::AlreadyInForce {
            job,
            revision: RevisionId(1),
        },
        Refusal::RequestIdReused("r-1".to_owned()),
    ];
    let others = of_stages()
        .into_iter()
        .chain(of_the_library())
        .chain(of_grip())
        .chain(of_bays());
    let all = refusals.into_iter().chain(others);
    all.map(Fault::from).collect()
}

/// Refusals about the library.
fn of_the_library() -> [Refusal; 5] {
    [
        LibraryRefusal::Empty(job()),
        LibraryRefusal::NoVehicle(job()),
        LibraryRefusal::OtherKind {
            job: job(),
            other: job(),
        },
        LibraryRefusal::Untaught(job()),
        LibraryRefusal::Changed {
            job: job(),
            records: 7,
        },
    ]
    .map(Refusal::from)
}

/// Refusals about grip tables.
fn of_grip() -> [Refusal; 3] {
    let mode: ModeName = "street".parse().expect("a slug");
    [
        Refusal::GripTableNone {
            job: job(),
            mode: mode.clone(),
            known: "rain".to_owned(),
        },
        Refusal::NoStays {
            job: job(),
            mode,
            revision: RevisionId(1),
        },
        Refusal::SubsetBreaksGrip {
            from_grip_percent: 10.0,
            to_grip_percent: 20.0,
            slope: -0.2,
            slope_min: 0.2,
            slope_max: 2.0,
        },
    ]
}

/// Refusals about the channel maps of bays.
fn of_bays() -> [Refusal; 3] {
    [
        Refusal::ChannelMapNone(bay()),
        Refusal::ChannelMapUnknown {
            bay: bay(),
            id: ChannelMapId(7),
            latest: ChannelMapId(2),
        },
        Refusal::ChannelMapInForce {
            bay: bay(),
            id: ChannelMapId(2),
        },
    ]
}

/// Refusals about stages and the standing of a job.
fn of_stages() -> [Refusal; 3] {
    [
        Refusal::StageUnknown {
            job: job(),
            stage: StageId(9),
            latest: StageId(2),
        },
        Refusal::StageEmpty {
            job: job(),
            stage: StageId(2),
        },
        Refusal::AlreadyStands {
            job: job(),
            what: "closed",
        },
    ]
}
