//! Tables far larger than an engine has.

use baytrim_api::v1::{CreateJobRequest, GetProposalRequest};

use crate::harness::{Daemon, inner, job_file};

/// If this fails, a large table can't be proposed for, or its proposal can't be received by a client.
#[tokio::test]
async fn a_large_table_can_be_proposed_for() {
    let daemon = Daemon::start().await;
    let axis = |first: f64, last: f64| {
        let step = (last - first) / 63.0;
        let points: Vec<String> = (0..64)
            .map(|index| format!("{:.3}", first + step * f64::from(index)))
            .collect();
        points.join(", ")
    };
    let values = vec![format!("[{}]", ["0"; 64].join(", ")); 64].join(", ");
    let request = CreateJobRequest {
        job_id: "j".to_owned(),
        job_file: job_file()
            .replace("2000, 4000, 6000, 8000", &axis(1000.0, 9000.0))
            .replace("[10, 40, 80]", &format!("[{}]", axis(0.0, 100.0)))
            .replace(
                "[[0, 0, 0, 0], [0, 0, 0, 0], [0, 0, 0, 0]]",
                &format!("[{values}]"),
            ),
        ..CreateJobRequest::default()
    };
    daemon.jobs().create_job(request).await.unwrap();
    let proposal = daemon.proposal("j").await;
    assert_eq!(proposal.nodes.len(), 4096);
    let get = GetProposalRequest {
        name: proposal.name.clone(),
    };
    let read = daemon.corrections().get_proposal(get).await.unwrap();
    assert_eq!(inner(read).proposal.unwrap(), proposal);
    daemon.stop().await;
}
