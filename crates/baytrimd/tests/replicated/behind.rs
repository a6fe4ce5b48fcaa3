//! A database that has lost records: the daemons that have seen them say so, and do nothing with it.

use baytrim_api::v1::daemon_service_client::DaemonServiceClient;
use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::{GetJobRequest, GetStatusRequest};
use tonic::{Code, Status};
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_types::StatusExt as _;

use crate::daemons::{Daemon, Ledger, job, upload};
use crate::outage::until;

async fn get(daemon: &Daemon) -> Result<(), Status> {
    let mut jobs = daemon.with(JobServiceClient::with_interceptor);
    let name = "jobs/j".to_owned();
    jobs.get_job(GetJobRequest { name }).await.map(drop)
}

async fn status(daemon: &Daemon) -> Result<(), Status> {
    let mut daemons = daemon.with(DaemonServiceClient::with_interceptor);
    daemons.get_status(GetStatusRequest {}).await.map(drop)
}

fn assert_behind(answer: Result<(), Status>) {
    let status = answer.unwrap_err();
    assert_eq!(status.code(), Code::Unavailable, "{status:?}");
    let reason = status.get_details_error_info().unwrap().reason;
    assert_eq!(reason, "STORE_BEHIND", "{status:?}");
}

/// If this fails, daemons whose database lost records in a failover go on with what is left: they tell that a job is
/// unknown, or that others change it all the time, and nobody is called.
#[tokio::test]
async fn daemons_say_that_their_database_lost_records() {
    let ledger = Ledger::new();
    let (a, b) = (Daemon::on(&ledger).await, Daemon::on(&ledger).await);
    let mut jobs = a.with(JobServiceClient::with_interceptor);
    jobs.create_job(job()).await.unwrap();
    upload(&a, "pull.csv").await.unwrap();
    // The other daemon has seen it too.
    get(&b).await.unwrap();
    assert!((a.figure("baytrim_store_behind") - 0.0).abs() < 0.1);
    ledger.ask(
        "create table lost as select * from baytrim_record where stream = 'job/j' and seq = 1; \
         delete from baytrim_record where stream = 'job/j' and seq = 1",
    );
    for daemon in [&a, &b] {
        until(daemon, "baytrim.v1.JobService", ServingStatus::NotServing).await;
        assert_behind(get(daemon).await);
        assert_behind(status(daemon).await);
        assert_behind(upload(daemon, "more.csv").await.map(drop));
        assert!((daemon.figure("baytrim_store_behind") - 1.0).abs() < 0.1);
    }
    // As when the lead goes back to the database that has everything.
    ledger.ask("insert into baytrim_record select * from lost; drop table lost");
    for daemon in [&a, &b] {
        until(daemon, "baytrim.v1.JobService", ServingStatus::Serving).await;
        get(daemon).await.unwrap();
        status(daemon).await.unwrap();
    }
    upload(&b, "more.csv").await.unwrap();
}
