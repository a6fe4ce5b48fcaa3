//! Proposals, verdicts, reverts and exports: who wins, who is told what.

use baytrim_api::v1::{
    ApproveProposalRequest, CreateProposalRequest, ExportTableRequest, GetJobRequest,
    GetProposalRequest, GetRevisionRequest, NodeRef, RejectProposalRequest, RevertTableRequest,
};

use crate::harness::{Daemon, by, inner, metadata, told};

fn approval(etag: &str) -> ApproveProposalRequest {
    ApproveProposalRequest {
        name: "jobs/j/proposals/c1".to_owned(),
        etag: etag.to_owned(),
        reason: "plugs read well".to_owned(),
        ..ApproveProposalRequest::default()
    }
}

async fn etag_of_job(daemon: &Daemon) -> String {
    let name = "jobs/j".to_owned();
    let job = daemon.jobs().get_job(GetJobRequest { name }).await.unwrap();
    inner(job).job.unwrap().etag
}

/// If this fails, the way from a log to an approved table is broken somewhere, or the numbers that come
/// back are not those that were put in.
#[tokio::test]
async fn from_log_to_approved_table() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    assert_eq!(
        told(daemon.propose("j").await),
        "FailedPrecondition NO_PULLS"
    );
    let proposal = daemon.proposal("j").await;
    assert_eq!((proposal.state, proposal.base_revision.as_str()), (1, "r0"));
    assert_eq!((proposal.nodes.len(), proposal.cautions.len()), (12, 4));
    // The log is 4 % too lean everywhere: 4 % of fuel is missing.
    for node in &proposal.nodes {
        assert!((node.correction_percent - 4.0).abs() < 0.5, "{node:?}");
        assert!(node.after > node.before, "{node:?}");
    }
    let get = GetProposalRequest {
        name: proposal.name.clone(),
    };
    assert_eq!(
        inner(daemon.corrections().get_proposal(get).await.unwrap())
            .proposal
            .unwrap(),
        proposal
    );
    let mut request = by("Ines", approval(&proposal.etag));
    let approved = inner(daemon.reviews().approve_proposal(request).await.unwrap());
    let (decided, revision) = (approved.proposal.unwrap(), approved.revision.unwrap());
    assert_eq!(decided.state, 2);
    assert_eq!(decided.verdict.unwrap().reviewer, "Ines");
    assert_eq!(revision.origin, "approval of c1");
    let after: Vec<f64> = proposal.nodes.iter().map(|node| node.after).collect();
    assert_eq!(revision.values, after);
    let head = GetRevisionRequest {
        name: "jobs/j/revisions/-".to_owned(),
    };
    assert_eq!(
        inner(daemon.tables().get_revision(head).await.unwrap())
            .revision
            .unwrap(),
        revision
    );
    request = by("Ines", approval(&proposal.etag));
    let again = daemon.reviews().approve_proposal(request).await;
    assert_eq!(told(again), "FailedPrecondition PROPOSAL_DECIDED");
    daemon.stop().await;
}

/// If this fails, two people who approve at once both believe that their verdict counts.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn one_of_two_approvers_wins() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await;
    let approve = |actor: &'static str| {
        let (mut reviews, request) = (daemon.reviews(), by(actor, approval(&proposal.etag)));
        tokio::spawn(async move { reviews.approve_proposal(request).await })
    };
    let tasks: Vec<_> = ["Ines", "Odo", "Una", "Piet"]
        .map(approve)
        .into_iter()
        .collect();
    let mut won = 0;
    for task in tasks {
        match task.await.unwrap() {
            Ok(_) => won += 1,
            Err(status) => {
                assert!(!metadata(&status, "reviewer").is_empty());
                assert_eq!(
                    told(Err::<(), _>(status)),
                    "FailedPrecondition PROPOSAL_DECIDED"
                );
            }
        }
    }
    assert_eq!(won, 1);
    let get = GetRevisionRequest {
        name: "jobs/j/revisions/r2".to_owned(),
    };
    assert_eq!(
        told(daemon.tables().get_revision(get).await),
        "NotFound REVISION_UNKNOWN"
    );
    daemon.stop().await;
}

/// If this fails, a change is put in that was computed against another table.
#[tokio::test]
async fn a_stale_proposal_is_not_approved() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let first = daemon.proposal("j").await;
    let second = daemon.propose("j").await.unwrap();
    daemon
        .reviews()
        .approve_proposal(by("Ines", approval(&first.etag)))
        .await
        .unwrap();
    let stale = ApproveProposalRequest {
        name: second.name.clone(),
        ..approval(&second.etag)
    };
    let status = daemon
        .reviews()
        .approve_proposal(by("Ines", stale))
        .await
        .unwrap_err();
    assert_eq!(metadata(&status, "base_revision"), "r0");
    assert_eq!(metadata(&status, "head_revision"), "r1");
    assert_eq!(
        told(Err::<(), _>(status)),
        "FailedPrecondition PROPOSAL_STALE"
    );
    daemon.stop().await;
}

/// If this fails, a verdict is taken that is without reason, about something else, or about no node.
#[tokio::test]
async fn a_verdict_quotes_what_was_seen_and_says_why() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let etag = daemon.proposal("j").await.etag;
    let node = |rpm, plate_percent| {
        vec![NodeRef {
            rpm,
            plate_percent,
            after: None,
            grip_percent: None,
        }]
    };
    let rows: [(&str, ApproveProposalRequest); 7] = [
        ("Aborted ETAG_MISMATCH", approval("00")),
        ("InvalidArgument FIELD_INVALID etag", approval("")),
        (
            "InvalidArgument FIELD_INVALID reason",
            ApproveProposalRequest {
                reason: " ".to_owned(),
                ..approval(&etag)
            },
        ),
        (
            "InvalidArgument FIELD_INVALID nodes[0]",
            ApproveProposalRequest {
                nodes: node(2500.0, 10.0),
                ..approval(&etag)
            },
        ),
        (
            "NotFound PROPOSAL_UNKNOWN",
            ApproveProposalRequest {
                name: "jobs/j/proposals/c9".to_owned(),
                ..approval(&etag)
            },
        ),
        (
            "InvalidArgument FIELD_INVALID name",
            ApproveProposalRequest {
                name: "c1".to_owned(),
                ..approval(&etag)
            },
        ),
        (
            "NotFound JOB_UNKNOWN",
            ApproveProposalRequest {
                name: "jobs/k/proposals/c1".to_owned(),
                ..approval(&etag)
            },
        ),
    ];
    for (expected, request) in rows {
        assert_eq!(
            told(daemon.reviews().approve_proposal(by("Ines", request)).await),
            expected
        );
    }
    let reject = RejectProposalRequest {
        name: "jobs/j/proposals/c1".to_owned(),
        etag,
        reason: "a plug was wet".to_owned(),
        ..RejectProposalRequest::default()
    };
    let rejected = inner(daemon.reviews().reject_proposal(reject).await.unwrap())
        .proposal
        .unwrap();
    assert_eq!(rejected.state, 3);
    daemon.stop().await;
}

/// If this fails, a request that is sent again, as after a lost answer, is carried out twice; or one
/// name serves for two requests.
#[tokio::test]
async fn a_repeated_request_is_answered_not_repeated() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    daemon.proposal("j").await;
    let create = CreateProposalRequest {
        parent: "jobs/j".to_owned(),
        request_id: "p-1".to_owned(),
        ..CreateProposalRequest::default()
    };
    let first = inner(
        daemon
            .corrections()
            .create_proposal(by("Tova", create.clone()))
            .await
            .unwrap(),
    );
    let again = inner(
        daemon
            .corrections()
            .create_proposal(by("Tova", create))
            .await
            .unwrap(),
    );
    assert_eq!(first, again);
    let proposal = first.proposal.unwrap();
    assert_eq!(proposal.name, "jobs/j/proposals/c2");
    let approve = |request_id: &str| ApproveProposalRequest {
        name: proposal.name.clone(),
        request_id: request_id.to_owned(),
        ..approval(&proposal.etag)
    };
    let reused = daemon
        .reviews()
        .approve_proposal(by("Ines", approve("p-1")))
        .await;
    assert_eq!(told(reused), "AlreadyExists REQUEST_ID_REUSED");
    let first = inner(
        daemon
            .reviews()
            .approve_proposal(by("Ines", approve("a-1")))
            .await
            .unwrap(),
    );
    let again = inner(
        daemon
            .reviews()
            .approve_proposal(by("Ines", approve("a-1")))
            .await
            .unwrap(),
    );
    assert_eq!(first, again);
    assert_eq!(first.revision.unwrap().name, "jobs/j/revisions/r1");
    let revert = RevertTableRequest {
        parent: "jobs/j".to_owned(),
        revision: "r0".to_owned(),
        reason: "customer changed his mind".to_owned(),
        request_id: "v-1".to_owned(),
        ..RevertTableRequest::default()
    };
    let first = inner(daemon.tables().revert_table(revert.clone()).await.unwrap());
    let again = inner(daemon.tables().revert_table(revert).await.unwrap());
    assert_eq!(first, again);
    assert_eq!(first.revision.unwrap().origin, "revert to r0");
    daemon.stop().await;
}

/// If this fails, a table is put back under the feet of somebody who has just changed it.
#[tokio::test]
async fn a_revert_honours_the_etag_of_the_job() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let seen = etag_of_job(&daemon).await;
    let proposal = daemon.proposal("j").await;
    daemon
        .reviews()
        .approve_proposal(by("Ines", approval(&proposal.etag)))
        .await
        .unwrap();
    let revert = |etag: String| RevertTableRequest {
        parent: "jobs/j".to_owned(),
        revision: "r0".to_owned(),
        reason: "as it came".to_owned(),
        etag,
        ..RevertTableRequest::default()
    };
    assert_eq!(
        told(daemon.tables().revert_table(revert(seen)).await),
        "Aborted ETAG_MISMATCH"
    );
    let now = etag_of_job(&daemon).await;
    daemon.tables().revert_table(revert(now)).await.unwrap();
    let again = daemon.tables().revert_table(revert(String::new())).await;
    assert_eq!(told(again), "FailedPrecondition REVISION_ALREADY_IN_FORCE");
    daemon.stop().await;
}

/// If this fails, a table leaves the house in another form than asked, or without a record of it.
#[tokio::test]
async fn an_export_is_recorded() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let before = etag_of_job(&daemon).await;
    let request = ExportTableRequest {
        name: "jobs/j/revisions/-".to_owned(),
        format: 1,
        quantity: 2,
        rows: 1,
        decimals: Some(2),
        request_id: "export-1".to_owned(),
    };
    let export = inner(daemon.tables().export_table(request.clone()).await.unwrap());
    let text = String::from_utf8(export.content.clone()).unwrap();
    assert!(
        text.contains("plate_percent/rpm,2000,4000,6000,8000"),
        "{text}"
    );
    assert_eq!(
        export.sha256,
        baytrim_ledger::Hash::of(&export.content).to_string()
    );
    let after = etag_of_job(&daemon).await;
    assert_ne!(after, before);
    assert_eq!(
        (export.revision_sha256.len(), export.cautions.len()),
        (64, 4)
    );
    let again = inner(daemon.tables().export_table(request.clone()).await.unwrap());
    assert_eq!(again, export);
    assert_eq!(etag_of_job(&daemon).await, after, "recorded twice");
    let other = ExportTableRequest {
        format: 3,
        ..request.clone()
    };
    let refused = daemon.tables().export_table(other).await;
    assert_eq!(told(refused), "AlreadyExists REQUEST_ID_REUSED");
    let request = ExportTableRequest {
        request_id: String::new(),
        ..request
    };
    let unknown = ExportTableRequest {
        format: 7,
        ..request
    };
    let refused = daemon.tables().export_table(unknown).await;
    assert_eq!(told(refused), "InvalidArgument FIELD_INVALID format");
    daemon.stop().await;
}

/// If this fails, a dry run leaves a record, or a pull that was left out is counted.
#[tokio::test]
async fn a_proposal_can_be_tried_without_record() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let recorded = daemon.proposal("j").await;
    let before = etag_of_job(&daemon).await;
    let request = CreateProposalRequest {
        parent: "jobs/j".to_owned(),
        validate_only: true,
        ..CreateProposalRequest::default()
    };
    let tried = inner(
        daemon
            .corrections()
            .create_proposal(request.clone())
            .await
            .unwrap(),
    );
    let tried = tried.proposal.unwrap();
    assert_eq!((tried.name.as_str(), tried.etag.as_str()), ("", ""));
    assert_eq!(tried.nodes, recorded.nodes);
    assert_eq!(etag_of_job(&daemon).await, before);
    let without = CreateProposalRequest {
        excluded_pulls: vec!["p1".to_owned()],
        ..request
    };
    let refused = daemon.corrections().create_proposal(without).await;
    assert_eq!(told(refused), "FailedPrecondition NO_PULLS");
    daemon.stop().await;
}
