//! A database that goes away and comes back.

use std::time::Duration;

use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::{GetJobRequest, ListJobsRequest};
use tonic::Code;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;

use crate::cluster::Node;
use crate::daemons::{Daemon, job, run, words};

pub(crate) async fn until(daemon: &Daemon, service: &str, wanted: ServingStatus) {
    let mut health = HealthClient::new(daemon.channel.clone());
    let request = HealthCheckRequest {
        service: service.to_owned(),
    };
    let told = tokio::time::timeout(Duration::from_secs(60), async {
        while health
            .check(request.clone())
            .await
            .unwrap()
            .into_inner()
            .status()
            != wanted
        {
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    });
    told.await
        .unwrap_or_else(|_| panic!("{service:?} does not become {wanted:?}"));
}

/// If this fails, requests are sent to a daemon that can't reach its ledger, or it does not come back by itself.
#[tokio::test]
async fn a_daemon_outlives_its_database() {
    let node = Node::first("outage");
    let home = tempfile::tempdir().unwrap();
    let token_file = home.path().join("owner.token");
    let place = ["--store", &node.url(), "--single-copy"].map(str::to_owned);
    let place = place.each_ref().map(String::as_str);
    let made = run(&[
        &[
            "owner",
            "first",
            "--token-file",
            token_file.to_str().unwrap(),
        ],
        &place[..],
    ]
    .concat());
    assert!(made.status.success(), "{}", words(&made));
    let token = std::fs::read_to_string(&token_file).unwrap();
    let daemon = Daemon::start(&place, &token).await;
    let mut jobs = daemon.with(JobServiceClient::with_interceptor);
    jobs.create_job(job()).await.unwrap();
    until(&daemon, "baytrim.v1.JobService", ServingStatus::Serving).await;
    node.kill();
    let refused = jobs
        .list_jobs(ListJobsRequest::default())
        .await
        .unwrap_err();
    assert_eq!(refused.code(), Code::Unavailable, "{refused:?}");
    until(&daemon, "baytrim.v1.JobService", ServingStatus::NotServing).await;
    // The daemon itself is well: starting it anew would not help.
    until(&daemon, "", ServingStatus::Serving).await;
    node.start();
    until(&daemon, "baytrim.v1.JobService", ServingStatus::Serving).await;
    jobs.get_job(GetJobRequest {
        name: "jobs/j".to_owned(),
    })
    .await
    .unwrap();
}
