//! Verdicts over a real store and a real port: whose count, how much they take, and who is told what.

use baytrim_api::v1::{
    ApproveProposalRequest, CreateCommentRequest, GetProposalRequest, ListRecordsRequest, NodeRef,
    RejectProposalRequest,
};

use crate::approving::approval;
use crate::harness::{Daemon, by, inner, metadata, told};

/// If this fails, whoever asked for a change approves it alone, or can't take it back.
#[tokio::test]
async fn whoever_asked_does_not_approve_but_may_withdraw() {
    let daemon = Daemon::of_several().await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await;
    let creator = proposal.creator.clone();
    let request = by(&creator, approval(&proposal));
    let status = daemon.reviews().approve_proposal(request).await;
    let status = status.unwrap_err();
    assert_eq!(metadata(&status, "proposer"), creator);
    assert_eq!(told(Err::<(), _>(status)), "PermissionDenied SAME_HAND");
    let reject = RejectProposalRequest {
        name: proposal.name.clone(),
        etag: proposal.etag.clone(),
        reason: "p1 was cold".to_owned(),
        ..RejectProposalRequest::default()
    };
    let withdrawn = daemon.reviews().reject_proposal(by(&creator, reject)).await;
    assert_eq!(inner(withdrawn.unwrap()).proposal.unwrap().state, 3);
    daemon.stop().await;
}

/// If this fails, a reviewer who takes less gets more, or the record does not say that it was less.
#[tokio::test]
async fn less_than_proposed_is_taken_and_told() {
    let daemon = Daemon::of_several().await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await;
    let first = &proposal.nodes[0];
    let more = ApproveProposalRequest {
        nodes: vec![NodeRef {
            rpm: first.rpm,
            plate_percent: first.plate_percent,
            after: Some(first.after + 0.1),
            grip_percent: None,
        }],
        ..approval(&proposal)
    };
    let refused = daemon.reviews().approve_proposal(by("Ines", more)).await;
    assert_eq!(
        told(refused),
        "InvalidArgument FIELD_INVALID nodes[0].after"
    );
    let half = ApproveProposalRequest {
        share_percent: 50.0,
        ..approval(&proposal)
    };
    let approved = daemon.reviews().approve_proposal(by("Ines", half)).await;
    let approved = inner(approved.unwrap());
    let verdict = approved.proposal.unwrap().verdict.unwrap();
    assert_eq!(verdict.reduced_node_count, verdict.approved_node_count);
    assert!(!verdict.one_person);
    let values = approved.revision.unwrap().values;
    for (value, node) in values.iter().zip(&proposal.nodes) {
        let half = node.before + (node.after - node.before) / 2.0;
        assert!(*value <= half + 1e-9 && *value > half - 0.1, "{node:?}");
    }
    let records = ListRecordsRequest {
        parent: "jobs/j".to_owned(),
        ..ListRecordsRequest::default()
    };
    let records = inner(daemon.ledger().list_records(records).await.unwrap()).records;
    let summaries: Vec<&str> = records.iter().map(|record| &*record.summary).collect();
    assert!(
        summaries
            .iter()
            .any(|summary| summary.contains("12 of them less than proposed")),
        "{summaries:?}"
    );
    daemon.stop().await;
}

/// If this fails, of two people who approve at once on a real disk both count, or the second is left to guess who
/// was first.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn of_two_at_once_one_counts_and_the_other_is_told() {
    let directory = tempfile::tempdir().unwrap();
    let daemon = Daemon::on(directory.path()).await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await;
    let approve = |actor: &'static str| {
        let (mut reviews, request) = (daemon.reviews(), by(actor, approval(&proposal)));
        tokio::spawn(async move { (actor, reviews.approve_proposal(request).await) })
    };
    let tasks = ["Ines", "Odo"].map(approve);
    let (mut winner, mut loser) = (None, None);
    for task in tasks {
        match task.await.unwrap() {
            (actor, Ok(_)) => assert_eq!(winner.replace(actor), None, "two won"),
            (_, Err(status)) => loser = Some(status),
        }
    }
    let (winner, loser) = (winner.unwrap(), loser.unwrap());
    let words = format!("proposal j/c1 was approved by {winner} already, 20");
    assert!(loser.message().starts_with(&words), "{}", loser.message());
    assert!(loser.message().ends_with(" UTC, and became r1"));
    assert_eq!(metadata(&loser, "reviewer"), winner);
    assert_eq!(metadata(&loser, "revision"), "r1");
    let decided: i64 = metadata(&loser, "decided_unix_ms").parse().unwrap();
    let now = baytrimd::clock::now().0;
    assert!((0..60_000).contains(&(now - decided)), "{decided}");
    daemon.stop().await;
}

/// If this fails, what was said about a proposal is lost, is kept twice, or stands at another node.
#[tokio::test]
async fn comments_are_kept_with_their_node() {
    let directory = tempfile::tempdir().unwrap();
    let daemon = Daemon::on(directory.path()).await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await;
    let node = NodeRef {
        rpm: 4000.0,
        plate_percent: 40.0,
        after: None,
        grip_percent: None,
    };
    let comment = |text: &str, node| CreateCommentRequest {
        parent: "jobs/j/proposals/c1".to_owned(),
        text: text.to_owned(),
        node,
        request_id: String::new(),
    };
    let first = CreateCommentRequest {
        request_id: "said-1".to_owned(),
        ..comment(" heard it knock here ", Some(node))
    };
    let mut reviews = daemon.reviews();
    let once = reviews.create_comment(by("Ines", first.clone())).await;
    let once = inner(once.unwrap());
    let again = reviews.create_comment(by("Ines", first)).await;
    assert_eq!(inner(again.unwrap()), once);
    let once = once.comment.unwrap();
    assert_eq!((once.number, once.author.as_str()), (1, "Ines"));
    assert_eq!(once.text, "heard it knock here");
    assert_eq!((once.rpm, once.plate_percent), (Some(4000.0), Some(40.0)));
    let approved = daemon
        .reviews()
        .approve_proposal(by("Ines", approval(&proposal)))
        .await;
    approved.expect("a comment does not change what is approved");
    let second = comment("ran well", None);
    let second = inner(reviews.create_comment(by("Odo", second)).await.unwrap());
    let rows = [
        ("InvalidArgument FIELD_INVALID text", comment(" ", None)),
        (
            "InvalidArgument FIELD_INVALID text",
            comment(&"x".repeat(2001), None),
        ),
        (
            "InvalidArgument FIELD_INVALID node",
            comment(
                "here",
                Some(NodeRef {
                    rpm: 4100.0,
                    ..node
                }),
            ),
        ),
    ];
    for (expected, request) in rows {
        let refused = reviews.create_comment(by("Odo", request)).await;
        assert_eq!(told(refused), expected);
    }
    let name = proposal.name.clone();
    let get = GetProposalRequest { name };
    let shown = inner(daemon.corrections().get_proposal(get).await.unwrap());
    let comments = shown.proposal.unwrap().comments;
    assert_eq!(comments, [once, second.comment.unwrap()]);
    daemon.stop().await;
}
