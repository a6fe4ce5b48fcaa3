//! Streams that are open when their caller is shut out.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::sync::Arc;
use std::time::Duration;

use baytrim_api::v1::access_service_client::AccessServiceClient;
use baytrim_api::v1::ledger_service_client::LedgerServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::watch_service_client::WatchServiceClient;
use baytrim_api::v1::{
    BackUpLedgerRequest, ExportJobRequest, ImportJobRequest, OpenImport, OpenSuggestion,
    RemoveMemberRequest, RevokeTokenRequest, StreamPullRequest, SuggestChannelsRequest,
    UploadPullRequest, WatchProposalsRequest, WatchRecordsRequest, import_job_request,
    stream_pull_request, suggest_channels_request, upload_pull_request,
};
use baytrim_ledger::{MemoryStore, Store};
use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::{Member, Policy, Role, ShopEvent, TokenIssue};
use baytrimd::access::{Access, Token};
use baytrimd::config::ServiceLimits;
use prost::Message as _;
use tokio::sync::Notify;
use tokio::task::JoinHandle;
use tokio_stream::StreamExt as _;
use tonic::{Response, Status, Streaming};

use crate::figures::scrape;
use crate::harness::{Bearer, Daemon, Wire, by, log, metadata, token_of, told, upload_of};
use crate::harness::{join, record, shop};
use crate::pulls::{Line, batches, open_of};

/// Longer than anything here takes on a busy machine; only a failing test waits so long.
const PATIENCE: Duration = Duration::from_secs(60);

/// Every method that is open for as long as either side likes, from the API's own descriptors.
fn streaming_methods() -> BTreeSet<String> {
    let set = prost_types::FileDescriptorSet::decode(baytrim_api::DESCRIPTORS).unwrap();
    let own = set
        .file
        .iter()
        .filter(|file| file.package() == "baytrim.v1");
    let mut found = BTreeSet::new();
    for service in own.flat_map(|file| &file.service) {
        let streams = |method: &&prost_types::MethodDescriptorProto| {
            method.client_streaming() || method.server_streaming()
        };
        let of_service = service.method.iter().filter(streams);
        found.extend(of_service.map(|method| format!("{}/{}", service.name(), method.name())));
    }
    found
}

/// Returns how a stream ends, passing over what is told before.
async fn end<T>(stream: Result<Response<Streaming<T>>, Status>) -> Status {
    let mut stream = stream.unwrap().into_inner();
    loop {
        match stream.message().await {
            Ok(Some(_)) => {}
            Ok(None) => panic!("the stream ended as if all were well"),
            Err(status) => return status,
        }
    }
}

/// Returns how a call ends that sends one message and then nothing.
fn silent<M: Send + 'static>(first: M) -> impl tokio_stream::Stream<Item = M> + Send {
    tokio_stream::iter([first]).chain(tokio_stream::pending())
}

fn with_token<C>(name: &str, client: impl FnOnce(Bearer) -> C) -> C {
    client(Bearer::of(token_of(name).text()))
}

/// Begins a method as somebody; returns how it will have ended. Archives are not read before `read` says so.
fn begin(daemon: &Daemon, method: &str, name: &str, read: &Arc<Notify>) -> JoinHandle<Status> {
    let read = Arc::clone(read);
    let channel = daemon.channel.clone();
    let pulls = |bearer| PullServiceClient::with_interceptor(channel.clone(), bearer);
    let ledger = |bearer| LedgerServiceClient::with_interceptor(channel.clone(), bearer);
    let watch = |bearer| WatchServiceClient::with_interceptor(channel.clone(), bearer);
    let mut pulls: PullServiceClient<Wire> = with_token(name, pulls);
    let mut ledger: LedgerServiceClient<Wire> = with_token(name, ledger);
    let mut watch: WatchServiceClient<Wire> = with_token(name, watch);
    match method {
        "PullService/StreamPull" => tokio::spawn(async move {
            let message = Some(stream_pull_request::Message::Open(open_of("j")));
            end(pulls
                .stream_pull(silent(StreamPullRequest { message }))
                .await)
            .await
        }),
        "PullService/UploadPull" => tokio::spawn(async move {
            let message = Some(upload_pull_request::Message::Open(upload_of("j")));
            let sent = pulls.upload_pull(silent(UploadPullRequest { message }));
            sent.await.unwrap_err()
        }),
        "PullService/SuggestChannels" => tokio::spawn(async move {
            let open = OpenSuggestion::default();
            let message = Some(suggest_channels_request::Message::Open(open));
            let sent = pulls.suggest_channels(silent(SuggestChannelsRequest { message }));
            sent.await.unwrap_err()
        }),
        "LedgerService/ImportJob" => tokio::spawn(async move {
            let open = OpenImport::default();
            let message = Some(import_job_request::Message::Open(open));
            let sent = ledger.import_job(silent(ImportJobRequest { message }));
            sent.await.unwrap_err()
        }),
        "LedgerService/ExportJob" => tokio::spawn(async move {
            let name = "jobs/j".to_owned();
            slowly(&read, ledger.export_job(ExportJobRequest { name }).await).await
        }),
        "LedgerService/BackUpLedger" => tokio::spawn(async move {
            slowly(&read, ledger.back_up_ledger(BackUpLedgerRequest {}).await).await
        }),
        "WatchService/WatchRecords" => tokio::spawn(async move {
            let parent = "jobs/j".to_owned();
            let start_sequence_number = 0;
            let request = WatchRecordsRequest {
                parent,
                start_sequence_number,
            };
            end(watch.watch_records(request).await).await
        }),
        "WatchService/WatchProposals" => tokio::spawn(async move {
            end(watch
                .watch_proposals(WatchProposalsRequest::default())
                .await)
            .await
        }),
        other => panic!("{other} streams; say here how it is begun, and see that it ends"),
    }
}

/// Reads nothing until it is said, as where a network is slow.
async fn slowly<T>(read: &Notify, stream: Result<Response<Streaming<T>>, Status>) -> Status {
    read.notified().await;
    end(stream).await
}

/// Waits until so many calls are under way, so that what comes next finds them open.
async fn running(daemon: &Daemon, count: usize) {
    let wanted = format!("baytrim_requests_running {count}\n");
    let waiting = async {
        while !scrape(daemon).await.contains(&wanted) {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    };
    tokio::time::timeout(PATIENCE, waiting)
        .await
        .expect("all are under way");
}

/// A log of several megabytes, more than waits on the way to a reader.
fn large_log() -> String {
    let mut large = String::new();
    for (number, line) in log().lines().enumerate() {
        let note = if number == 0 {
            "note".to_owned()
        } else {
            "x".repeat(3000)
        };
        writeln!(large, "{line},{note}").unwrap();
    }
    large
}

fn owners(daemon: &Daemon) -> AccessServiceClient<Wire> {
    daemon.access(token_of("owner").text())
}

async fn revoke(daemon: &Daemon, name: &str) {
    let request = RevokeTokenRequest {
        token_id: token_of(name).id().to_string(),
        reason: "tablet lost".to_owned(),
        ..RevokeTokenRequest::default()
    };
    owners(daemon).revoke_token(request).await.unwrap();
}

async fn started() -> (Daemon, Access) {
    let access = shop();
    let daemon = Daemon::guarded(
        Arc::new(MemoryStore::new()),
        ServiceLimits::default(),
        access.clone(),
    );
    (daemon.await, access)
}

/// If this fails, whoever has a stream open goes on hearing, or sending, after their token was revoked.
#[tokio::test]
async fn every_stream_ends_with_its_token() {
    let (daemon, access) = started().await;
    daemon.open_job("j").await;
    daemon
        .upload(upload_of("j"), large_log().as_bytes())
        .await
        .unwrap();
    let methods = streaming_methods();
    let mut open = Vec::new();
    for (number, method) in methods.iter().enumerate() {
        let (name, read) = (format!("m{number}"), Arc::new(Notify::new()));
        join(&access, &name, &Role::ALL);
        let ended = begin(&daemon, method, &name, &read);
        open.push((method, name, read, ended));
        running(&daemon, number + 1).await;
    }
    for (method, name, read, ended) in open {
        assert!(!ended.is_finished(), "{method} ended by itself");
        revoke(&daemon, &name).await;
        read.notify_one();
        let ended = tokio::time::timeout(PATIENCE, ended).await;
        let status = ended.expect(method).unwrap();
        let told = told::<()>(Err(status));
        assert_eq!(told, "Unauthenticated TOKEN_REVOKED", "{method}");
    }
    running(&daemon, 0).await;
    println!("{} streaming methods end with their token", methods.len());
    daemon.stop().await;
}

async fn watch(daemon: &Daemon, token: &str) -> Streaming<baytrim_api::v1::WatchProposalsResponse> {
    let mut client = WatchServiceClient::new(daemon.channel.clone());
    let request = crate::harness::with_token(token, WatchProposalsRequest::default());
    let mut stream = client.watch_proposals(request).await.unwrap().into_inner();
    stream.message().await.unwrap();
    stream
}

/// If this fails, a stream outlives its token's time, its member, or the role that it takes; or a clock that is set
/// back keeps it open.
#[tokio::test]
async fn streams_end_with_whatever_let_them_in() {
    let (daemon, access) = started().await;
    let limited = |in_ms: i64| {
        let token = Token::make().unwrap();
        let issue = TokenIssue {
            id: token.id().clone(),
            member: "Tova".parse().unwrap(),
            sha256: token.hash(),
            expires_at: Some(UnixMillis(access.now().0 + in_ms)),
        };
        record(&access, &ShopEvent::TokenIssued { token: issue });
        token
    };
    let ends = async |stream| {
        let ended = end(Ok(Response::new(stream)));
        let status = tokio::time::timeout(PATIENCE, ended).await.expect("an end");
        told::<()>(Err(status))
    };
    let soon = limited(1500);
    let expiring = watch(&daemon, soon.text()).await;
    let odo = watch(&daemon, token_of("Odo").text()).await;
    let piet = watch(&daemon, token_of("Piet").text()).await;
    let other = watch(&daemon, token_of("Una").text()).await;
    assert_eq!(ends(expiring).await, "Unauthenticated TOKEN_EXPIRED");
    let removal = RemoveMemberRequest {
        member: "Odo".to_owned(),
        reason: "left".to_owned(),
        ..RemoveMemberRequest::default()
    };
    owners(&daemon).remove_member(removal).await.unwrap();
    assert_eq!(ends(odo).await, "Unauthenticated TOKEN_REVOKED");
    let policy = Policy::default();
    let reason = "more people".to_owned();
    record(&access, &ShopEvent::PolicySet { policy, reason });
    let member = Member {
        name: "Piet".parse().unwrap(),
        roles: [Role::Bay].into(),
        bay: None,
        answered_by: None,
    };
    record(&access, &ShopEvent::MemberChanged { member });
    assert_eq!(ends(piet).await, "PermissionDenied NOT_PERMITTED");
    // A later moment was seen; the clock says an earlier one again.
    let hour = 3_600_000;
    let later = limited(hour);
    let until = access
        .state()
        .token(later.id())
        .unwrap()
        .issue
        .expires_at
        .unwrap();
    let watched = watch(&daemon, later.text()).await;
    access
        .admit_at(Some(token_of("Una").text()), None, until)
        .unwrap();
    assert_eq!(ends(watched).await, "Unauthenticated TOKEN_EXPIRED");
    // None of that ended the others.
    let mut other = other;
    let waiting = tokio::time::timeout(Duration::from_millis(200), other.message()).await;
    assert!(waiting.is_err(), "{waiting:?}");
    drop(other);
    daemon.stop().await;
}

/// If this fails, a token that was revoked at one daemon is good for ever at another over the same store.
#[tokio::test]
async fn another_daemon_over_the_store_heeds_it_too() {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::shared());
    let open = || Access::open(Arc::clone(&store), None).unwrap();
    let access = open();
    join(&access, "owner", &[Role::Owner]);
    join(&access, "Tova", &[Role::Tuner]);
    let start = |access| Daemon::guarded(Arc::clone(&store), ServiceLimits::default(), access);
    let (here, there) = (start(access).await, start(open()).await);
    let watched = watch(&there, token_of("Tova").text()).await;
    revoke(&here, "Tova").await;
    let ended = tokio::time::timeout(PATIENCE, end(Ok(Response::new(watched))));
    let status = ended.await.expect("an end");
    assert_eq!(told::<()>(Err(status)), "Unauthenticated TOKEN_REVOKED");
    let asked = WatchServiceClient::new(there.channel.clone())
        .watch_proposals(by("Tova", WatchProposalsRequest::default()))
        .await;
    assert_eq!(told(asked), "Unauthenticated TOKEN_REVOKED");
    here.stop().await;
    there.stop().await;
}

/// If this fails, a bay whose token is replaced loses what it had sent, or is not told where to go on.
#[tokio::test]
async fn a_live_pull_goes_on_with_another_token() {
    let (daemon, access) = started().await;
    daemon.open_job("j").await;
    join(&access, "bay-east", &[Role::Bay]);
    let all = batches(&crate::harness::rows(), 1);
    let mut line = Line::try_open_as(&daemon, "bay-east", open_of("j"))
        .await
        .unwrap();
    for batch in &all[..3] {
        line.send(batch.clone());
    }
    line.until(3).await;
    let token = Token::make().unwrap();
    let issue = TokenIssue {
        id: token.id().clone(),
        member: "bay-east".parse().unwrap(),
        sha256: token.hash(),
        expires_at: None,
    };
    record(&access, &ShopEvent::TokenIssued { token: issue });
    revoke(&daemon, "bay-east").await;
    let status = tokio::time::timeout(PATIENCE, line.end())
        .await
        .expect("an end")
        .unwrap_err();
    assert_eq!(metadata(&status, "durable_sequence_number"), "3");
    assert_eq!(told::<()>(Err(status)), "Unauthenticated TOKEN_REVOKED");
    let mut line = Line::try_open_with(&daemon, token.text(), open_of("j"))
        .await
        .unwrap();
    assert_eq!(line.durable, 3);
    for batch in &all[3..] {
        line.send(batch.clone());
    }
    let pull = line.finish().await;
    assert_eq!(pull.sample_count, crate::harness::rows().len() as u64);
    daemon.stop().await;
}
