//! An older and a newer daemon on one ledger: what the newer one writes, the older one does not spoil.

use baytrim_api::v1::GetJobRequest;
use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_ledger::{Store as _, StreamName};
use baytrim_ledger_postgres::{Address, Options, PostgresStore};
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::daemons::{Daemon, Ledger, job, run, upload, words};

fn store(url: &str) -> PostgresStore {
    let options = Options {
        single_copy: true,
        ..Options::default()
    };
    let address = Address::parse(url).unwrap();
    PostgresStore::open(&address, &options).unwrap().0
}

/// Appends to job `j` what a daemon of a later version would: its newest record, told to be of another version.
fn record_later(url: &str) {
    let (store, stream) = (store(url), StreamName::new("job/j").unwrap());
    let head = store.head(&stream).unwrap();
    let newest = store.read(&stream, head.next_seq - 1, 1).unwrap().remove(0);
    let body = String::from_utf8(newest.body).unwrap();
    let later = body.replacen("\"version\":1", "\"version\":2", 1);
    assert_ne!(later, body);
    store.append(&stream, &head, &[later.into_bytes()]).unwrap();
}

fn reason(status: &Status) -> String {
    assert_eq!(status.code(), Code::Unavailable, "{status:?}");
    status.get_details_error_info().unwrap().reason
}

async fn get(daemon: &Daemon, name: &str) -> Result<(), Status> {
    let mut jobs = daemon.with(JobServiceClient::with_interceptor);
    let name = name.to_owned();
    jobs.get_job(GetJobRequest { name }).await.map(drop)
}

/// If this fails, an older daemon works on a job that a newer one has recorded in, spoils it, or stops serving the others.
#[tokio::test]
async fn an_older_daemon_leaves_alone_what_a_newer_one_wrote() {
    let ledger = Ledger::new();
    let running = Daemon::on(&ledger).await;
    let mut jobs = running.with(JobServiceClient::with_interceptor);
    for id in ["j", "k"] {
        let mut job = job();
        job.job_id = id.to_owned();
        jobs.create_job(job).await.unwrap();
    }
    upload(&running, "before.csv").await.unwrap();
    // The store waits by itself, which a thread of the test's own runtime may not.
    std::thread::scope(|scope| scope.spawn(|| record_later(&ledger.url)).join()).unwrap();
    let count = ledger.ask("select count(*), max(seq) from baytrim_record where stream = 'job/j'");
    // One that was there, with the job in its memory, and one that starts on what it finds.
    let started = Daemon::on(&ledger).await;
    for daemon in [&running, &started] {
        assert_eq!(
            reason(&get(daemon, "jobs/j").await.unwrap_err()),
            "RECORD_NEWER"
        );
        let refused = upload(daemon, "after.csv").await.unwrap_err();
        assert_eq!(reason(&refused), "RECORD_NEWER");
        get(daemon, "jobs/k").await.unwrap();
    }
    let still = ledger.ask("select count(*), max(seq) from baytrim_record where stream = 'job/j'");
    assert_eq!(still, count);
}

/// If this fails, a daemon starts on tables that a later version has made, and writes into what it does not know.
#[tokio::test]
async fn an_older_daemon_does_not_start_on_newer_tables() {
    let ledger = Ledger::new();
    let running = Daemon::on(&ledger).await;
    ledger.ask("insert into baytrim_schema (version) values (2)");
    let refused = run(&["serve", "--store", &ledger.url, "--single-copy"]);
    assert_eq!(refused.status.code(), Some(2), "{}", words(&refused));
    assert!(words(&refused).contains("version 2"), "{}", words(&refused));
    // One that serves already goes on: every version adds to the tables only.
    running
        .with(JobServiceClient::with_interceptor)
        .create_job(job())
        .await
        .unwrap();
    upload(&running, "pull.csv").await.unwrap();
}
