//! What is removed by rule, what stays, and what is told afterwards.

use std::sync::Arc;

use baytrim_api::v1::{ExportJobRequest, ReproduceProposalRequest, TraceNodeRequest};
use baytrim_ledger::{BlobId, MemoryStore, Store, StreamName};
use baytrim_model::ids::UnixMillis;
use baytrimd::clock;
use baytrimd::config::ServiceLimits;
use baytrimd::ledger_check::{LedgerCheck, check};
use baytrimd::retention::{RETENTION_STREAM, Rules, Sweeper, Swept};
use baytrimd::shop::Shop;

use crate::harness::{Daemon, log, told, upload_of};

const RULES: Rules = Rules {
    raw_logs_days: Some(30),
    unfinished_days: Some(8),
    ..Rules::NONE
};

fn in_days(days: i64) -> UnixMillis {
    UnixMillis(clock::now().0 + days * 86_400_000)
}

fn shop(store: &MemoryStore) -> Shop {
    Shop::new(Arc::new(store.clone()), ServiceLimits::default())
}

fn checked(store: &MemoryStore) -> LedgerCheck {
    check(store, &mut |_| ()).unwrap()
}

/// A job with one pull and a proposal.
async fn daemon(store: &MemoryStore) -> (Daemon, String) {
    let daemon = Daemon::with(Arc::new(store.clone()), ServiceLimits::default()).await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await.name;
    (daemon, proposal)
}

/// Returns what a request came to.
fn came_to<T>(answer: Result<T, tonic::Status>) -> String {
    match answer {
        Ok(_) => "Ok".to_owned(),
        refused => told(refused),
    }
}

/// Asks for everything that needs the raw log.
async fn ask(daemon: &Daemon, proposal: &str) -> [String; 3] {
    let name = proposal.to_owned();
    let again = ReproduceProposalRequest { name };
    let again = came_to(daemon.corrections().reproduce_proposal(again).await);
    let node = TraceNodeRequest {
        name: proposal.to_owned(),
        rpm: 4000.0,
        plate_percent: 40.0,
        ..TraceNodeRequest::default()
    };
    let node = came_to(daemon.corrections().trace_node(node).await);
    let name = "jobs/j".to_owned();
    let mut export = match daemon.ledger().export_job(ExportJobRequest { name }).await {
        Ok(export) => export.into_inner(),
        Err(status) => return [again, node, told(Err::<(), _>(status))],
    };
    loop {
        match export.message().await {
            Ok(Some(_)) => {}
            other => return [again, node, came_to(other)],
        }
    }
}

/// If this fails, a log goes too early, or whoever asks for a log that was removed by rule is told of a damaged ledger,
/// or a log that is missing passes for removed.
#[tokio::test]
async fn old_logs_go_by_rule_and_everybody_is_told() {
    let store = MemoryStore::new();
    let (daemon, proposal) = daemon(&store).await;
    let (shop, mut sweeper) = (shop(&store), Sweeper::new(RULES));
    assert_eq!(sweeper.round(&shop, in_days(29)).unwrap(), Swept::default());
    assert_eq!(ask(&daemon, &proposal).await, ["Ok"; 3]);
    let swept = sweeper.round(&shop, in_days(31)).unwrap();
    let bytes = log().len() as u64;
    assert_eq!((swept.logs, swept.unnamed, swept.bytes), (1, 0, bytes));
    assert_eq!(
        ask(&daemon, &proposal).await,
        ["FailedPrecondition LOG_REMOVED"; 3]
    );
    daemon.propose("j").await.unwrap();
    let found = checked(&store);
    assert_eq!((found.first_fault, found.removed_log_count), (None, 1));
    assert_eq!(sweeper.round(&shop, in_days(60)).unwrap(), Swept::default());
    // Sent once more it is there again, for both pulls.
    daemon.upload(upload_of("j"), log().as_bytes()).await.ok();
    if store.open_blob(&BlobId::of(log().as_bytes())).is_ok() {
        assert_eq!(ask(&daemon, &proposal).await, ["Ok"; 3]);
    }
    let other = log().replace(",0.98", ",0.95");
    daemon
        .upload(upload_of("j"), other.as_bytes())
        .await
        .unwrap();
    store.remove_blob(&BlobId::of(other.as_bytes())).unwrap();
    let fault = checked(&store).first_fault.unwrap();
    assert!(fault.contains("is not there"), "{fault}");
    daemon.stop().await;
}

/// If this fails, a log is removed that is all that is left of a pull's readings.
#[tokio::test]
async fn a_log_without_its_evidence_stays() {
    let store = MemoryStore::new();
    let (daemon, _) = daemon(&store).await;
    daemon.stop().await;
    let evidence = store.blobs(None, 10).unwrap();
    let raw = BlobId::of(log().as_bytes());
    let evidence = evidence.iter().find(|(id, _)| *id != raw).unwrap().0;
    store.remove_blob(&evidence).unwrap();
    let swept = Sweeper::new(RULES)
        .round(&shop(&store), in_days(31))
        .unwrap();
    assert_eq!(swept, Swept::default());
    assert!(store.open_blob(&raw).is_ok());
}

/// If this fails, what nobody will ask for stays for ever, or something goes that a pull under way needs.
#[test]
fn unfinished_pulls_and_unnamed_blobs_go_after_their_time() {
    let store = MemoryStore::new();
    let name = |text: &str| StreamName::new(text).unwrap();
    let header = format!("{{\"opened_at\":{}}}", clock::now().0);
    for spool in ["live/old-pull", "claim/other"] {
        store
            .spool_append(&name(spool), 0, header.as_bytes())
            .unwrap();
    }
    let refused = store.put_blob(b"a log that was refused").unwrap();
    let (shop, mut sweeper) = (shop(&store), Sweeper::new(RULES));
    assert_eq!(sweeper.round(&shop, in_days(7)).unwrap(), Swept::default());
    let late = store.put_blob(b"a log whose record is on its way").unwrap();
    let swept = sweeper.round(&shop, in_days(9)).unwrap();
    assert_eq!((swept.unnamed, swept.live_pulls, swept.logs), (1, 1, 0));
    assert!(store.open_blob(&refused).is_err() && store.open_blob(&late).is_ok());
    assert_eq!(store.spools().unwrap(), [(name("claim/other"), 1)]);
    let records = store.read(&name(RETENTION_STREAM), 0, 10).unwrap();
    let told = String::from_utf8(records[0].body.clone()).unwrap();
    assert!(
        told.contains(&refused.to_string()) && told.contains("live/old-pull"),
        "{told}"
    );
}
