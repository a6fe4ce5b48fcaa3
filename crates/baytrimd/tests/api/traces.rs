//! What is behind a node's number.

use baytrim_api::v1::{NodeTrace, TraceNodeRequest};

use crate::harness::{Daemon, inner, told};

fn request() -> TraceNodeRequest {
    TraceNodeRequest {
        name: "jobs/j".to_owned(),
        rpm: 4000.0,
        plate_percent: 40.0,
        ..TraceNodeRequest::default()
    }
}

async fn trace(daemon: &Daemon, request: TraceNodeRequest) -> NodeTrace {
    let answer = daemon.corrections().trace_node(request).await.unwrap();
    inner(answer).trace.unwrap()
}

/// If this fails, a reviewer who asks what is behind a number is shown another node's samples, or parts of an
/// uncertainty that do not make the whole.
#[tokio::test]
async fn a_number_leads_back_to_its_samples() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await;
    let name = proposal.name.clone();
    let node = proposal
        .nodes
        .iter()
        .find(|node| (node.rpm, node.plate_percent) == (4000.0, 40.0))
        .unwrap();
    let of_proposal = trace(&daemon, TraceNodeRequest { name, ..request() }).await;
    assert!((of_proposal.correction_percent - node.correction_percent).abs() < 1e-9);
    assert!((of_proposal.standard_error_percent - node.standard_error_percent).abs() < 1e-9);
    let squares = of_proposal.errors.iter();
    let squares = squares.map(|part| part.standard_error_percent.powi(2));
    let whole = squares.sum::<f64>().sqrt();
    assert!((whole / of_proposal.total_standard_error_percent - 1.0).abs() < 1e-6);
    assert_eq!(of_proposal.visits, node.visits);
    let pull = &of_proposal.pulls[0];
    assert_eq!(
        (pull.name.as_str(), pull.bay.as_str()),
        ("jobs/j/pulls/p1", "east")
    );
    let log = pull.log.as_ref().unwrap();
    assert_eq!(log.row_count, 2400);
    // The log holds every node twice for five seconds.
    assert_eq!(log.span_count, 2);
    assert!(log.points.len() <= 200 && log.points.len() > 50);
    for point in log
        .points
        .iter()
        .filter(|point| point.refused_by.is_empty())
    {
        // Five hundredths of a second a row, and 4 % lean all over.
        assert!((point.offset_s - 0.05 * point.row as f64).abs() < 1e-9);
        assert!((point.correction_percent.unwrap() - 4.0).abs() < 2.0);
        assert!((0.05..=1.01).contains(&point.share_fraction));
    }
    let quick = TraceNodeRequest {
        skip_logs: true,
        ..request()
    };
    let quick = trace(&daemon, quick).await;
    assert!(quick.pulls[0].log.is_none());
    assert!((quick.correction_percent - of_proposal.correction_percent).abs() < 1e-9);
    daemon.stop().await;
}

/// If this fails, a trace is of what nobody can mean.
#[tokio::test]
async fn bad_traces_name_the_field() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let none = daemon.corrections().trace_node(request()).await;
    assert_eq!(told(none), "FailedPrecondition NO_PULLS");
    let proposal = daemon.proposal("j").await;
    let bad = [
        (
            TraceNodeRequest {
                rpm: 4001.0,
                ..request()
            },
            "InvalidArgument FIELD_INVALID node",
        ),
        (
            TraceNodeRequest {
                point_count_max: 1001,
                ..request()
            },
            "InvalidArgument FIELD_INVALID point_count_max",
        ),
        (
            TraceNodeRequest {
                name: "pulls/p1".to_owned(),
                ..request()
            },
            "InvalidArgument FIELD_INVALID name",
        ),
        (
            TraceNodeRequest {
                name: proposal.name,
                excluded_pulls: vec!["p1".to_owned()],
                ..request()
            },
            "InvalidArgument FIELD_INVALID excluded_pulls",
        ),
        (
            TraceNodeRequest {
                name: "jobs/j/proposals/c9".to_owned(),
                ..request()
            },
            "NotFound PROPOSAL_UNKNOWN",
        ),
    ];
    for (request, expected) in bad {
        let refused = daemon.corrections().trace_node(request).await;
        assert!(told(refused).starts_with(expected), "{expected}");
    }
    daemon.stop().await;
}
