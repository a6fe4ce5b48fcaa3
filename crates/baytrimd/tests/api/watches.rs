//! Watches: what is told while it happens, and after a break.

use std::sync::Arc;
use std::time::Duration;

use baytrim_api::v1::proposal::State;
use baytrim_api::v1::watch_service_client::WatchServiceClient;
use baytrim_api::v1::{
    RejectProposalRequest, WatchProposalsRequest, WatchProposalsResponse, WatchRecordsRequest,
    WatchRecordsResponse,
};
use baytrim_ledger::MemoryStore;
use baytrimd::config::ServiceLimits;
use tonic::transport::Channel;
use tonic::{Code, Streaming};

use crate::harness::{Bearer, Daemon, SOMEBODY, Wire, connect, token_of, told};

/// Longer than anything here takes on a busy machine; only a failing test waits so long.
const PATIENCE: Duration = Duration::from_secs(60);

fn watch_client(channel: &Channel) -> WatchServiceClient<Wire> {
    WatchServiceClient::with_interceptor(channel.clone(), Bearer::of(token_of(SOMEBODY).text()))
}

async fn records(channel: &Channel, start: u64) -> Streaming<WatchRecordsResponse> {
    let request = WatchRecordsRequest {
        parent: "jobs/j".to_owned(),
        start_sequence_number: start,
    };
    let mut client = watch_client(channel);
    client.watch_records(request).await.unwrap().into_inner()
}

async fn proposals(channel: &Channel, known: &[&str]) -> Streaming<WatchProposalsResponse> {
    let known_proposals = known.iter().map(|name| (*name).to_owned()).collect();
    let request = WatchProposalsRequest { known_proposals };
    let mut client = watch_client(channel);
    client.watch_proposals(request).await.unwrap().into_inner()
}

async fn next<T>(stream: &mut Streaming<T>) -> T {
    let next = tokio::time::timeout(PATIENCE, stream.message()).await;
    next.expect("something is told").unwrap().expect("no end")
}

/// Returns number and kind of the next record; none where all have been told.
async fn record(stream: &mut Streaming<WatchRecordsResponse>) -> Option<(u64, String)> {
    let told = next(stream).await;
    told.record.map(|record| {
        assert_eq!(told.next_sequence_number, record.sequence_number + 1);
        (record.sequence_number, record.kind)
    })
}

async fn proposal(stream: &mut Streaming<WatchProposalsResponse>) -> Option<(String, State)> {
    let told = next(stream).await.proposal;
    told.map(|proposal| (proposal.name.clone(), proposal.state()))
}

async fn reject(daemon: &Daemon, name: &str, etag: &str) {
    let request = RejectProposalRequest {
        name: name.to_owned(),
        etag: etag.to_owned(),
        reason: "p1 was cold".to_owned(),
        ..RejectProposalRequest::default()
    };
    daemon.reviews().reject_proposal(request).await.unwrap();
}

#[expect(clippy::unnecessary_wraps, reason = "compared with what may be none")]
fn kind(seq: u64, kind: &str) -> Option<(u64, String)> {
    Some((seq, kind.to_owned()))
}

#[expect(clippy::unnecessary_wraps, reason = "compared with what may be none")]
fn named(name: &str, state: State) -> Option<(String, State)> {
    Some((format!("jobs/{name}"), state))
}

/// If this fails, whoever follows a job misses a record, hears one twice, or can't go on after a break.
#[tokio::test]
async fn records_come_in_order_and_go_on_after_a_break() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let mut watch = records(&daemon.channel, 0).await;
    assert_eq!(record(&mut watch).await, kind(0, "job_opened"));
    assert_eq!(record(&mut watch).await, None);
    let proposal = daemon.proposal("j").await;
    assert_eq!(record(&mut watch).await, kind(1, "pull_finished"));
    drop(watch);
    daemon.open_job("other").await;
    reject(&daemon, &proposal.name, &proposal.etag).await;
    let mut watch = records(&connect(daemon.address).await, 2).await;
    assert_eq!(record(&mut watch).await, kind(2, "proposal_made"));
    assert_eq!(record(&mut watch).await, kind(3, "proposal_rejected"));
    assert_eq!(record(&mut watch).await, None);
    drop(watch);
    daemon.stop().await;
}

/// If this fails, a reviewer's inbox lacks a proposal, keeps one that was decided, or shows after a break what it
/// has shown before.
#[tokio::test]
async fn an_inbox_is_told_what_waits_and_what_becomes_of_it() {
    let daemon = Daemon::start().await;
    for job in ["a", "b"] {
        daemon.open_job(job).await;
    }
    let first = daemon.proposal("a").await;
    let mut watch = proposals(&daemon.channel, &[]).await;
    assert_eq!(
        proposal(&mut watch).await,
        named("a/proposals/c1", State::Open)
    );
    assert_eq!(proposal(&mut watch).await, None);
    daemon.proposal("b").await;
    assert_eq!(
        proposal(&mut watch).await,
        named("b/proposals/c1", State::Open)
    );
    drop(watch);
    reject(&daemon, &first.name, &first.etag).await;
    daemon.propose("a").await.unwrap();
    let known = ["jobs/a/proposals/c1", "jobs/b/proposals/c1"];
    let mut watch = proposals(&daemon.channel, &known).await;
    assert_eq!(
        proposal(&mut watch).await,
        named("a/proposals/c1", State::Rejected)
    );
    assert_eq!(
        proposal(&mut watch).await,
        named("a/proposals/c2", State::Open)
    );
    assert_eq!(proposal(&mut watch).await, None);
    drop(watch);
    daemon.stop().await;
}

/// If this fails, records that another program writes into the same store are never told.
#[tokio::test]
async fn what_others_record_in_the_store_is_told_too() {
    let store = Arc::new(MemoryStore::new());
    let daemon = Daemon::with(Arc::clone(&store) as _, ServiceLimits::default()).await;
    daemon.open_job("j").await;
    let mut watch = records(&daemon.channel, 1).await;
    assert_eq!(record(&mut watch).await, None);
    let other = daemon.proposal("j").await;
    assert_eq!(record(&mut watch).await, kind(1, "pull_finished"));
    assert_eq!(record(&mut watch).await, kind(2, "proposal_made"));
    // A second daemon over the same store: the first one's news do not tell of it.
    let second = Daemon::with(Arc::clone(&store) as _, ServiceLimits::default()).await;
    reject(&second, &other.name, &other.etag).await;
    assert_eq!(record(&mut watch).await, kind(3, "proposal_rejected"));
    drop(watch);
    second.stop().await;
    daemon.stop().await;
}

/// If this fails, a reader that falls behind loses records, or the daemon holds all of them in memory for it.
#[tokio::test]
async fn a_reader_that_falls_behind_loses_nothing() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    daemon.proposal("j").await;
    let mut watch = records(&daemon.channel, 3).await;
    // More news than wait for one watch, and more answers than its queue holds, while nobody reads.
    for _ in 0..400 {
        let request = baytrim_api::v1::ExportTableRequest {
            name: "jobs/j/revisions/-".to_owned(),
            ..Default::default()
        };
        daemon.tables().export_table(request).await.unwrap();
    }
    let mut seen = Vec::new();
    while seen.len() < 400 {
        if let Some((seq, kind)) = record(&mut watch).await {
            assert_eq!(kind, "table_exported");
            seen.push(seq);
        }
    }
    assert_eq!(seen, (3..403).collect::<Vec<u64>>());
    drop(watch);
    daemon.stop().await;
}

/// If this fails, a watch of what there is not waits for ever instead of saying so.
#[tokio::test]
async fn what_there_is_not_is_refused() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let mut client = watch_client(&daemon.channel);
    let mut ask = async |parent: &str, start_sequence_number| {
        let parent = parent.to_owned();
        told(
            client
                .watch_records(WatchRecordsRequest {
                    parent,
                    start_sequence_number,
                })
                .await,
        )
    };
    assert_eq!(ask("jobs/none", 0).await, "NotFound JOB_UNKNOWN");
    assert_eq!(
        ask("jobs/j", 2).await,
        "InvalidArgument FIELD_INVALID start_sequence_number"
    );
    assert_eq!(ask("j", 0).await, "InvalidArgument FIELD_INVALID parent");
    let mut client = watch_client(&daemon.channel);
    let mut known = async |names: Vec<String>| {
        let known_proposals = names;
        told(
            client
                .watch_proposals(WatchProposalsRequest { known_proposals })
                .await,
        )
    };
    let unknown = vec!["jobs/j/proposals/c1".to_owned()];
    assert_eq!(known(unknown).await, "NotFound PROPOSAL_UNKNOWN");
    let many = vec!["jobs/j/proposals/c1".to_owned(); 1001];
    assert_eq!(
        known(many).await,
        "InvalidArgument FIELD_INVALID known_proposals"
    );
    daemon.stop().await;
}

/// If this fails, watches can use up the daemon, or a place that was left is never free again.
#[tokio::test]
async fn watches_are_bounded_and_places_are_given_back() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let mut watches = Vec::new();
    for _ in 0..64 {
        watches.push(records(&daemon.channel, 0).await);
    }
    let mut client = watch_client(&daemon.channel);
    let request = WatchProposalsRequest::default();
    let refused = client.watch_proposals(request.clone()).await;
    assert_eq!(told(refused), "ResourceExhausted BUSY");
    watches.pop();
    let freed = async {
        while client.watch_proposals(request.clone()).await.is_err() {
            tokio::task::yield_now().await;
        }
    };
    tokio::time::timeout(PATIENCE, freed)
        .await
        .expect("a place");
    drop(watches);
    daemon.stop().await;
}

/// If this fails, a daemon that stops leaves those who watch without a word, or waits for them.
#[tokio::test]
async fn a_stopping_daemon_ends_watches_as_unavailable() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let mut watch = records(&daemon.channel, 1).await;
    assert_eq!(record(&mut watch).await, None);
    let (channel, serving) = daemon.stopping();
    let ended = tokio::time::timeout(PATIENCE, watch.message()).await;
    let status = ended.expect("an end").unwrap_err();
    assert_eq!(status.code(), Code::Unavailable);
    assert_eq!(told::<()>(Err(status)), "Unavailable SHUTTING_DOWN");
    drop((watch, channel));
    serving.await.unwrap().unwrap();
}
