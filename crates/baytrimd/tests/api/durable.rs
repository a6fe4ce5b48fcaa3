//! What is acknowledged survives: the daemon, its store, its blobs.

use std::sync::Arc;

use baytrim_api::v1::{GetPullRequest, ListJobsRequest, VerifyLedgerRequest};
use baytrim_jobs::codec;
use baytrim_ledger::{BlobId, Head, MemoryStore, Store as _, StreamName};
use baytrim_model::record::JobEvent;
use baytrimd::config::ServiceLimits;

use crate::harness::{Daemon, inner, rows};
use crate::pulls::{Line, batches, open_of};

/// If this fails, a daemon that went down loses acknowledged batches, pulls or proposals.
#[tokio::test]
async fn acknowledged_content_survives_the_daemon() {
    let directory = tempfile::tempdir().unwrap();
    let ledger = directory.path().join("ledger");
    let all = batches(&rows(), 1);
    let daemon = Daemon::on(&ledger).await;
    daemon.open_job("j").await;
    let mut line = Line::open(&daemon, open_of("j")).await;
    for batch in &all[..20] {
        line.send(batch.clone());
    }
    line.until(20).await;
    drop(line);
    daemon.stop().await;

    let daemon = Daemon::on(&ledger).await;
    let mut line = Line::open(&daemon, open_of("j")).await;
    assert_eq!(line.durable, 20);
    for batch in &all[20..] {
        line.send(batch.clone());
    }
    let pull = line.finish().await;
    assert_eq!(pull.sample_count, rows().len() as u64);
    let proposal = daemon.propose("j").await.unwrap();
    daemon.stop().await;

    let daemon = Daemon::on(&ledger).await;
    let get = GetPullRequest {
        name: pull.name.clone(),
    };
    assert_eq!(
        inner(daemon.pulls().get_pull(get).await.unwrap())
            .pull
            .unwrap(),
        pull
    );
    assert_eq!(Line::reopen_finished(&daemon, open_of("j")).await, pull);
    // The evidence comes from its blob now, and says the same to the bit.
    assert_eq!(daemon.propose("j").await.unwrap().nodes, proposal.nodes);
    let verified = inner(
        daemon
            .ledger()
            .verify_ledger(VerifyLedgerRequest::default())
            .await
            .unwrap(),
    );
    assert!(verified.intact, "{}", verified.first_fault);
    daemon.stop().await;
}

/// If this fails, a proposal can't be computed any more once an evidence blob is gone, although its log is there.
#[tokio::test]
async fn lost_evidence_is_computed_again() {
    let store = MemoryStore::new();
    let daemon = Daemon::with(Arc::new(store.clone()), ServiceLimits::default()).await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await;
    daemon.stop().await;
    // A copy of the shop without the evidence blob.
    let copy = MemoryStore::new();
    let stream = StreamName::new("job/j").unwrap();
    let records = store.read(&stream, 0, 99).unwrap();
    let bodies: Vec<_> = records.iter().map(|record| record.body.clone()).collect();
    copy.append(&stream, &Head::EMPTY, &bodies).unwrap();
    let JobEvent::PullFinished { pull } = codec::decode(&bodies[1]).unwrap().event else {
        panic!("the second record is a pull's");
    };
    let log: BlobId = pull.log_blob.parse().unwrap();
    copy.put_blob(&store.read_blob(&log, 1 << 20).unwrap())
        .unwrap();

    let daemon = Daemon::with(Arc::new(copy), ServiceLimits::default()).await;
    assert_eq!(daemon.propose("j").await.unwrap().nodes, proposal.nodes);
    let verified = inner(
        daemon
            .ledger()
            .verify_ledger(VerifyLedgerRequest::default())
            .await
            .unwrap(),
    );
    assert!(
        verified.intact,
        "evidence that can be computed again is no fault: {}",
        verified.first_fault
    );
    daemon.stop().await;
}

/// If this fails, a ledger whose log is gone, or whose records tell no job, passes as intact.
#[tokio::test]
async fn faults_are_named() {
    let store = MemoryStore::new();
    let daemon = Daemon::with(Arc::new(store.clone()), ServiceLimits::default()).await;
    daemon.open_job("j").await;
    daemon.proposal("j").await;
    daemon.stop().await;
    let copy = MemoryStore::new();
    let stream = StreamName::new("job/j").unwrap();
    let records = store.read(&stream, 0, 99).unwrap();
    let bodies: Vec<_> = records.iter().map(|record| record.body.clone()).collect();
    copy.append(&stream, &Head::EMPTY, &bodies).unwrap();
    let check = baytrimd::ledger_check::check(&copy, &mut |_| ()).unwrap();
    let fault = check.first_fault.unwrap();
    assert!(
        fault.starts_with("stream job/j, pull p1: its log "),
        "{fault}"
    );

    let copy = MemoryStore::new();
    let twice = [bodies[0].clone(), bodies[1].clone(), bodies[1].clone()];
    copy.append(&stream, &Head::EMPTY, &twice).unwrap();
    let check = baytrimd::ledger_check::check(&copy, &mut |_| ()).unwrap();
    let fault = check.first_fault.unwrap();
    assert!(
        fault.contains("job/j") && fault.contains("record 2 speaks of pull p1"),
        "{fault}"
    );
    // Such a job can't be served, but the others can.
    let daemon = Daemon::with(Arc::new(copy), ServiceLimits::default()).await;
    let list = daemon.jobs().list_jobs(ListJobsRequest::default()).await;
    assert_eq!(crate::harness::told(list), "Internal INTERNAL");
    daemon.open_job("k").await;
    daemon.stop().await;
}
