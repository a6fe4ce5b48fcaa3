//! Throttle delivery: from a log of a known hand to a grip table that is reviewed like any other.

use baytrim_api::v1::{
    ApproveProposalRequest, CreateCommentRequest, CreateJobRequest, CreateProposalRequest,
    ExportTableRequest, GetDeliveryRequest, GetJobRequest, GetRevisionRequest, ListPullsRequest,
    ModeDelivery, NodeRef, OpenUpload, Proposal, ReproduceProposalRequest, RevertTableRequest,
};
use baytrim_testkit::csv;
use baytrim_testkit::hand::{Throttle, hold};
use tonic::Status;

use crate::approving::approval;
use crate::harness::{Daemon, by, inner, job_file, told, upload_of};

const GRIP: &str = r"
[grip.street]
grip_percent = [0, 10, 20, 30, 40, 60, 80, 100]
rpm = [3000, 7000]
plate_percent = [[0, 5, 10, 30, 38, 55, 77, 100], [0, 4, 9, 28, 37, 53, 76, 100]]
slope_min = 0.3
slope_max = 1.5
resolution = 0.5
";

async fn open(daemon: &Daemon) {
    let request = CreateJobRequest {
        job_id: "j".to_owned(),
        job_file: job_file() + GRIP,
        ..CreateJobRequest::default()
    };
    daemon.jobs().create_job(by("Ines", request)).await.unwrap();
}

async fn send(daemon: &Daemon, throttle: &Throttle, mode: &str, seed: u64) {
    let log = csv::log(&hold(throttle, 4, seed));
    let open = OpenUpload {
        source_name: format!("hand-{seed}.csv"),
        mode: mode.to_owned(),
        ..upload_of("j")
    };
    daemon.upload(open, log.as_bytes()).await.unwrap();
}

async fn delivery(daemon: &Daemon) -> Vec<ModeDelivery> {
    let name = "jobs/j/delivery".to_owned();
    let found = daemon
        .corrections()
        .get_delivery(GetDeliveryRequest { name })
        .await;
    inner(found.unwrap()).modes
}

async fn propose(daemon: &Daemon, mode: &str) -> Result<Proposal, Status> {
    let request = CreateProposalRequest {
        parent: "jobs/j".to_owned(),
        grip_mode: mode.to_owned(),
        ..CreateProposalRequest::default()
    };
    let made = daemon
        .corrections()
        .create_proposal(by("Tova", request))
        .await;
    Ok(inner(made?).proposal.unwrap())
}

fn only(proposal: &Proposal, grips: &[f64]) -> ApproveProposalRequest {
    let node = |grip: &f64| NodeRef {
        grip_percent: Some(*grip),
        ..NodeRef::default()
    };
    ApproveProposalRequest {
        nodes: grips.iter().map(node).collect(),
        ..approval(proposal)
    }
}

/// If this fails, a plate that shuts by itself or suddenly opens passes unnoticed, an even one is blamed, or the modes
/// of a vehicle run into one another.
#[tokio::test]
async fn drift_and_gain_of_each_mode_are_found() {
    let daemon = Daemon::of_several().await;
    open(&daemon).await;
    send(&daemon, &Throttle::uneven(), "street", 1).await;
    send(&daemon, &Throttle::even(), "", 2).await;
    let modes = delivery(&daemon).await;
    let names: Vec<&str> = modes.iter().map(|mode| mode.mode.as_str()).collect();
    assert_eq!(names, ["street", "unnamed"]);
    let (street, unnamed) = (&modes[0], &modes[1]);
    assert_eq!(
        (street.grip_revision.as_str(), street.in_force),
        ("r1", true)
    );
    let drift = street.drift_percent_per_1000_rpm.as_ref().unwrap();
    assert!(
        street.drifts && (drift.mean + 0.4).abs() < 0.06,
        "{drift:?}"
    );
    let steep: Vec<f64> = street
        .gains
        .iter()
        .filter(|gain| gain.steep)
        .map(|gain| gain.end_grip_percent)
        .collect();
    assert_eq!(steep.len(), 1);
    assert!((steep[0] - 30.0).abs() < 0.5, "{steep:?}");
    assert!(street.surface.len() > 20, "{}", street.surface.len());
    assert!(!unnamed.drifts && unnamed.gains.iter().all(|gain| !gain.steep));
    assert!(!unnamed.proposable && unnamed.grip_revision.is_empty());
    let pulls = ListPullsRequest {
        parent: "jobs/j".to_owned(),
        ..ListPullsRequest::default()
    };
    let pulls = inner(daemon.pulls().list_pulls(pulls).await.unwrap()).pulls;
    let kept = pulls
        .iter()
        .map(|pull| (pull.mode.as_str(), pull.stay_count));
    assert_eq!(kept.collect::<Vec<_>>(), [("street", 28), ("", 28)]);
    daemon.stop().await;
}

/// If this fails, a proposed grip table falls, breaks its slopes, counts engine speed, is off the steps that are stored,
/// or is decided by other rules than any other proposal.
#[tokio::test]
async fn a_grip_table_takes_the_same_path() {
    let daemon = Daemon::of_several().await;
    open(&daemon).await;
    let refused = propose(&daemon, "rain").await;
    assert_eq!(told(refused), "NotFound GRIP_TABLE_NONE");
    assert_eq!(
        told(propose(&daemon, "street").await),
        "FailedPrecondition NO_STAYS"
    );
    send(&daemon, &Throttle::uneven(), "street", 1).await;
    let proposal = propose(&daemon, "street").await.unwrap();
    assert_eq!(
        (proposal.name.as_str(), proposal.base_revision.as_str()),
        ("jobs/j/proposals/c1", "r1")
    );
    assert!(
        proposal.cautions[0].contains("throw a rider"),
        "{:?}",
        proposal.cautions
    );
    for pair in proposal.grip_rows.windows(2) {
        let slope =
            (pair[1].after[0] - pair[0].after[0]) / (pair[1].grip_percent - pair[0].grip_percent);
        assert!((0.3 - 1e-9..=1.5 + 1e-9).contains(&slope), "{slope}");
        let steps = pair[1].after[0] / 0.5;
        assert!((steps - steps.round()).abs() < 1e-9 && pair[1].after[0] == pair[1].after[1]);
    }
    let own = daemon
        .reviews()
        .approve_proposal(by("Tova", approval(&proposal)))
        .await;
    assert!(told(own).starts_with("PermissionDenied SAME_HAND"));
    let share = ApproveProposalRequest {
        share_percent: 50.0,
        ..approval(&proposal)
    };
    let share = daemon.reviews().approve_proposal(by("Ines", share)).await;
    assert_eq!(told(share), "InvalidArgument FIELD_INVALID share_percent");
    let part = daemon
        .reviews()
        .approve_proposal(by("Ines", only(&proposal, &[20.0])))
        .await;
    assert_eq!(told(part), "FailedPrecondition SUBSET_BREAKS_GRIP_TABLE");
    let again = ReproduceProposalRequest {
        name: proposal.name.clone(),
    };
    let again = daemon
        .corrections()
        .reproduce_proposal(by("Ines", again))
        .await;
    assert!(inner(again.unwrap()).identical);
    let other = propose(&daemon, "street").await.unwrap();
    let approved = daemon
        .reviews()
        .approve_proposal(by("Ines", approval(&proposal)))
        .await;
    let approved = inner(approved.unwrap());
    let revision = approved.revision.unwrap();
    assert_eq!(
        (revision.name.as_str(), revision.grip_mode.as_str()),
        ("jobs/j/revisions/r2", "street")
    );
    assert!(revision.in_force);
    let stale = daemon
        .reviews()
        .approve_proposal(by("Ines", approval(&other)))
        .await;
    assert!(told(stale).starts_with("FailedPrecondition PROPOSAL_STALE"));
    let job = GetJobRequest {
        name: "jobs/j".to_owned(),
    };
    let job = inner(daemon.jobs().get_job(by("Ines", job)).await.unwrap())
        .job
        .unwrap();
    assert_eq!(
        job.head_revision, "r0",
        "the fuel table moved with the grip table"
    );
    // No pull has the new table loaded yet.
    assert_eq!(
        told(propose(&daemon, "street").await),
        "FailedPrecondition NO_STAYS"
    );
    daemon.stop().await;
}

/// If this fails, a grip can't be talked about, is taken for a node, or a grip table waits without anybody being told.
#[tokio::test]
async fn a_grip_is_commented_on_and_its_proposal_waits() {
    let daemon = Daemon::of_several().await;
    open(&daemon).await;
    send(&daemon, &Throttle::uneven(), "street", 1).await;
    let proposal = propose(&daemon, "street").await.unwrap();
    let comment = CreateCommentRequest {
        parent: proposal.name.clone(),
        text: "felt abrupt here".to_owned(),
        ..CreateCommentRequest::default()
    };
    let on = |node: NodeRef| CreateCommentRequest {
        node: Some(node),
        ..comment.clone()
    };
    let at_grip = |grip_percent| NodeRef {
        grip_percent: Some(grip_percent),
        ..NodeRef::default()
    };
    let waiting = daemon
        .jobs()
        .get_job(GetJobRequest {
            name: "jobs/j".to_owned(),
        })
        .await;
    let waiting = inner(waiting.unwrap()).job.unwrap().open_proposals;
    assert_eq!(waiting, ["jobs/j/proposals/c1"], "it waits like any other");
    let mut reviews = daemon.reviews();
    let said = reviews.create_comment(by("Ines", on(at_grip(30.0)))).await;
    let said = inner(said.unwrap()).comment.unwrap();
    assert_eq!((said.grip_percent, said.rpm), (Some(30.0), None));
    let node = NodeRef {
        rpm: 3000.0,
        plate_percent: 5.0,
        ..NodeRef::default()
    };
    for wrong in [at_grip(33.0), node] {
        let refused = reviews.create_comment(by("Ines", on(wrong))).await;
        assert_eq!(told(refused), "InvalidArgument FIELD_INVALID node");
    }
    daemon.stop().await;
}

/// If this fails, a grip table leaves the house as something else, or an earlier one can't be put back.
#[tokio::test]
async fn a_grip_table_is_exported_and_put_back() {
    let daemon = Daemon::of_several().await;
    open(&daemon).await;
    send(&daemon, &Throttle::uneven(), "street", 1).await;
    let proposal = propose(&daemon, "street").await.unwrap();
    let approved = daemon
        .reviews()
        .approve_proposal(by("Ines", approval(&proposal)))
        .await;
    approved.unwrap();
    let export = |quantity: i32| ExportTableRequest {
        name: "jobs/j/revisions/r2".to_owned(),
        quantity,
        ..ExportTableRequest::default()
    };
    let refused = daemon.tables().export_table(by("Ines", export(2))).await;
    assert_eq!(told(refused), "InvalidArgument FIELD_INVALID quantity");
    let exported = inner(
        daemon
            .tables()
            .export_table(by("Ines", export(0)))
            .await
            .unwrap(),
    );
    let text = String::from_utf8(exported.content).unwrap();
    assert!(
        text.contains("grip_percent/rpm,3000,7000\n0,0,0\n"),
        "{text}"
    );
    assert!(
        text.contains("riding mode street") && text.contains("throw a rider"),
        "{text}"
    );
    assert_eq!(exported.file_name, "j-r2-grip-street.csv");
    let back = RevertTableRequest {
        parent: "jobs/j".to_owned(),
        revision: "r1".to_owned(),
        reason: "hesitates".to_owned(),
        ..RevertTableRequest::default()
    };
    let back = inner(
        daemon
            .tables()
            .revert_table(by("Ines", back))
            .await
            .unwrap(),
    );
    assert_eq!(back.revision.unwrap().grip_mode, "street");
    let fuel = GetRevisionRequest {
        name: "jobs/j/revisions/-".to_owned(),
    };
    let fuel = inner(
        daemon
            .tables()
            .get_revision(by("Ines", fuel))
            .await
            .unwrap(),
    );
    assert_eq!(fuel.revision.unwrap().name, "jobs/j/revisions/r0");
    daemon.stop().await;
}
