//! The daemon as such: health, reflection, access, one port for API and pages.

use std::sync::Arc;

use baytrim_api::v1::ListJobsRequest;
use baytrim_ledger::MemoryStore;
use baytrimd::access::{Access, TokenFileError};
use baytrimd::config::ServiceLimits;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tonic::{Code, Request};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;
use tonic_reflection::pb::v1::ServerReflectionRequest;
use tonic_reflection::pb::v1::server_reflection_client::ServerReflectionClient;
use tonic_reflection::pb::v1::server_reflection_request::MessageRequest;
use tonic_reflection::pb::v1::server_reflection_response::MessageResponse;

use crate::harness::{Daemon, by, connect, inner, told};

const TOKEN: &str = "correct-horse-battery";

async fn guarded() -> Daemon {
    let directory = tempfile::tempdir().unwrap();
    let access = Access::from_file(&token_file(&directory, TOKEN, 0o600)).unwrap();
    let store = Arc::new(MemoryStore::new());
    Daemon::guarded(store, ServiceLimits::default(), access).await
}

fn token_file(directory: &tempfile::TempDir, token: &str, mode: u32) -> std::path::PathBuf {
    use std::os::unix::fs::PermissionsExt as _;
    let path = directory.path().join("token");
    std::fs::write(&path, token).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(mode)).unwrap();
    path
}

fn with_token(token: &str) -> Request<ListJobsRequest> {
    let mut request = Request::new(ListJobsRequest::default());
    let header = format!("Bearer {token}").parse().unwrap();
    request.metadata_mut().insert("authorization", header);
    request
}

/// If this fails, a probe does not see whether the daemon serves, or needs a token to ask.
#[tokio::test]
async fn health_tells_without_token() {
    let daemon = guarded().await;
    for service in [
        "",
        "baytrim.v1.JobService",
        "baytrim.v1.PullService",
        "baytrim.v1.LedgerService",
    ] {
        let mut health = HealthClient::new(daemon.channel.clone());
        let request = HealthCheckRequest {
            service: service.to_owned(),
        };
        assert_eq!(
            inner(health.check(request).await.unwrap()).status,
            1,
            "{service}"
        );
    }
    let mut health = HealthClient::new(daemon.channel.clone());
    let request = HealthCheckRequest {
        service: String::new(),
    };
    let mut watch = inner(health.watch(request).await.unwrap());
    assert_eq!(watch.message().await.unwrap().unwrap().status, 1);
    let (channel, serving) = daemon.stopping();
    assert_eq!(watch.message().await.unwrap().unwrap().status, 2);
    drop((watch, health, channel));
    serving.await.unwrap().unwrap();
}

/// If this fails, general gRPC tools can't find the daemon's services.
#[tokio::test]
async fn reflection_lists_every_service() {
    let daemon = guarded().await;
    let mut reflection = ServerReflectionClient::new(daemon.channel.clone());
    let request = ServerReflectionRequest {
        host: String::new(),
        message_request: Some(MessageRequest::ListServices(String::new())),
    };
    let answers = reflection
        .server_reflection_info(tokio_stream::iter([request]))
        .await;
    let answer = inner(answers.unwrap()).message().await.unwrap().unwrap();
    let Some(MessageResponse::ListServicesResponse(list)) = answer.message_response else {
        panic!("no list");
    };
    let mut names: Vec<_> = list
        .service
        .into_iter()
        .map(|service| service.name)
        .collect();
    names.sort();
    let own = ["Correction", "Job", "Ledger", "Pull", "Review", "Table"];
    for service in own.map(|name| format!("baytrim.v1.{name}Service")) {
        assert!(names.contains(&service), "{names:?} without {service}");
    }
    daemon.stop().await;
}

/// If this fails, a closed daemon lets somebody in without its token, or keeps out who has it.
#[tokio::test]
async fn a_closed_daemon_asks_for_its_token() {
    let daemon = guarded().await;
    let without = daemon.jobs().list_jobs(ListJobsRequest::default()).await;
    assert_eq!(told(without), "Unauthenticated TOKEN_MISSING");
    let wrong = daemon
        .jobs()
        .list_jobs(with_token("correct-horse-batterx"))
        .await;
    assert_eq!(told(wrong), "Unauthenticated TOKEN_WRONG");
    daemon.jobs().list_jobs(with_token(TOKEN)).await.unwrap();
    daemon.stop().await;
}

/// If this fails, a token that others may read, or a short or empty one, guards a shop.
#[test]
fn token_files_are_checked() {
    let directory = tempfile::tempdir().unwrap();
    let open = Access::from_file(&token_file(&directory, TOKEN, 0o644));
    assert!(matches!(
        open,
        Err(TokenFileError::TooOpen { mode: 0o644, .. })
    ));
    for token in ["", "short", "two words are no token"] {
        let none = Access::from_file(&token_file(&directory, token, 0o600));
        assert!(
            matches!(none, Err(TokenFileError::NoToken { .. })),
            "{token:?}"
        );
    }
    assert!(Access::from_file(&token_file(&directory, "sixteen-letters-\n", 0o400)).is_ok());
}

/// If this fails, the ledger names people by something that is no name.
#[tokio::test]
async fn actors_have_printable_names() {
    let daemon = Daemon::start().await;
    let long = "x".repeat(81);
    let refused = daemon
        .jobs()
        .list_jobs(by(&long, ListJobsRequest::default()))
        .await;
    assert_eq!(told(refused), "InvalidArgument FIELD_INVALID baytrim-actor");
    daemon
        .jobs()
        .list_jobs(by("Ines of bay 2", ListJobsRequest::default()))
        .await
        .unwrap();
    daemon.stop().await;
}

async fn get(daemon: &Daemon, path: &str) -> String {
    let mut stream = tokio::net::TcpStream::connect(daemon.address)
        .await
        .unwrap();
    let request = format!("GET {path} HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await.unwrap();
    answer
}

/// If this fails, pages and API do not share a port, or a lost visitor gets a gRPC answer.
#[tokio::test]
async fn one_port_serves_pages_and_api() {
    let daemon = Daemon::start().await;
    let page = get(&daemon, "/").await;
    assert!(
        page.starts_with("HTTP/1.1 200") && page.contains("Baytrim"),
        "{page}"
    );
    assert!(get(&daemon, "/nowhere").await.starts_with("HTTP/1.1 404"));
    let channel = connect(daemon.address).await;
    let mut grpc = tonic::client::Grpc::new(channel);
    grpc.ready().await.unwrap();
    let path = "/baytrim.v1.JobService/ForgetJob".parse().unwrap();
    let codec = tonic_prost::ProstCodec::<ListJobsRequest, ListJobsRequest>::default();
    let unknown = grpc
        .unary(Request::new(ListJobsRequest::default()), path, codec)
        .await;
    assert_eq!(unknown.unwrap_err().code(), Code::Unimplemented);
    drop(grpc);
    daemon.stop().await;
}
