//! Moving a whole ledger between a directory and a database.

use std::process::Stdio;
use std::time::Duration;

use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::{CreateProposalRequest, GetJobRequest};

use crate::daemons::{Daemon, Ledger, command, job, run, upload, words};

/// Makes a ledger in a directory with a job, pulls, a proposal and a large blob.
async fn fill(data: &str) -> String {
    let daemon = {
        std::fs::create_dir(data).unwrap();
        let file = format!("{data}-owner.token");
        let made = run(&["owner", "first", "--data", data, "--token-file", &file]);
        assert!(made.status.success(), "{}", words(&made));
        let token = std::fs::read_to_string(&file).unwrap();
        (Daemon::start(&["--data", data], &token).await, token)
    };
    let (daemon, token) = daemon;
    daemon
        .with(JobServiceClient::with_interceptor)
        .create_job(job())
        .await
        .unwrap();
    for name in ["one.csv", "two.csv"] {
        upload(&daemon, name).await.unwrap();
    }
    let mut corrections = daemon.with(CorrectionServiceClient::with_interceptor);
    let propose = CreateProposalRequest {
        parent: "jobs/j".to_owned(),
        ..CreateProposalRequest::default()
    };
    corrections.create_proposal(propose).await.unwrap();
    token
}

fn head(text: &str) -> String {
    let line = text
        .lines()
        .find_map(|line| line.strip_prefix("head of the whole ledger: "));
    line.unwrap_or_else(|| panic!("{text}")).to_owned()
}

/// If this fails, a shop can't move to a database or back without losing something, or without knowing whether it has.
#[tokio::test]
async fn a_ledger_moves_to_a_database_and_back() {
    let ledger = Ledger::empty();
    let place = |name: &str| ledger.home.path().join(name).to_str().unwrap().to_owned();
    let data = place("data");
    let token = fill(&data).await;
    let verified = words(&run(&["ledger", "verify", "--data", &data]));
    // Killed in the middle, again and again, until it comes through.
    let mut kill_count = 0;
    let there = loop {
        let mut moving = command(&[
            "move",
            "--single-copy",
            "--from",
            &data,
            "--to",
            &ledger.url,
        ])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
        tokio::time::sleep(Duration::from_millis(20 + 15 * kill_count)).await;
        if moving.try_wait().unwrap().is_none() && kill_count < 12 {
            moving.kill().unwrap();
            moving.wait().unwrap();
            kill_count += 1;
            continue;
        }
        let output = moving.wait_with_output().unwrap();
        assert!(output.status.success(), "{}", words(&output));
        break words(&output);
    };
    assert!(kill_count > 0);
    assert_eq!(head(&there), head(&verified));
    // Told again, it proves what is there and moves nothing.
    let again = words(&run(&[
        "move",
        "--single-copy",
        "--from",
        &data,
        "--to",
        &ledger.url,
    ]));
    // Counts of its own, not the ends of larger ones: the owner and the token, the job, two pulls, the proposal.
    assert!(
        again.starts_with("0 records (6 were there), 0 blobs (4 were there), 0 live pulls"),
        "{again}"
    );
    assert!(again.ends_with("everything holds\n"), "{again}");
    {
        let daemon = Daemon::start(&["--store", &ledger.url, "--single-copy"], &token).await;
        let mut jobs = daemon.with(JobServiceClient::with_interceptor);
        jobs.get_job(GetJobRequest {
            name: "jobs/j".to_owned(),
        })
        .await
        .unwrap();
        upload(&daemon, "three.csv").await.unwrap();
    }
    let back = place("back");
    let moved = words(&run(&[
        "move",
        "--single-copy",
        "--from",
        &ledger.url,
        "--to",
        &back,
    ]));
    assert!(moved.ends_with("everything holds\n"), "{moved}");
    let verified = words(&run(&["ledger", "verify", "--data", &back]));
    assert_eq!(head(&verified), head(&moved));
    assert!(verified.contains("everything holds"), "{verified}");
    // The first directory has fallen behind: nothing is taken back into what has gone on.
    let refused = run(&[
        "move",
        "--single-copy",
        "--from",
        &data,
        "--to",
        &ledger.url,
    ]);
    assert_eq!(refused.status.code(), Some(2), "{}", words(&refused));
    assert!(
        words(&refused).contains("nothing was moved"),
        "{}",
        words(&refused)
    );
}
