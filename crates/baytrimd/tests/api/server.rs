//! The daemon as such: health, reflection, access, one port for API and pages.

use baytrim_api::v1::ListJobsRequest;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tonic::{Code, Request};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;
use tonic_reflection::pb::v1::ServerReflectionRequest;
use tonic_reflection::pb::v1::server_reflection_client::ServerReflectionClient;
use tonic_reflection::pb::v1::server_reflection_request::MessageRequest;
use tonic_reflection::pb::v1::server_reflection_response::MessageResponse;

use crate::harness::{Daemon, connect, inner};

/// If this fails, a probe does not see whether the daemon serves, or needs a token to ask.
#[tokio::test]
async fn health_tells_without_token() {
    let daemon = Daemon::start().await;
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
    let daemon = Daemon::start().await;
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
    let own = [
        "Access",
        "Correction",
        "Job",
        "Ledger",
        "Pull",
        "Review",
        "Table",
    ];
    for service in own.map(|name| format!("baytrim.v1.{name}Service")) {
        assert!(names.contains(&service), "{names:?} without {service}");
    }
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
    let page = get(&daemon, "/sign-in").await;
    assert!(
        page.starts_with("HTTP/1.1 200") && page.contains("Baytrim"),
        "{page}"
    );
    assert!(get(&daemon, "/nowhere").await.starts_with("HTTP/1.1 404"));
    let channel = connect(daemon.address).await;
    let mut grpc = tonic::client::Grpc::new(channel);
    grpc.ready().await.unwrap();
    let path = "/baytrim.v1.PlanetService/ForgetJob".parse().unwrap();
    let codec = tonic_prost::ProstCodec::<ListJobsRequest, ListJobsRequest>::default();
    let unknown = grpc
        .unary(Request::new(ListJobsRequest::default()), path, codec)
        .await;
    assert_eq!(unknown.unwrap_err().code(), Code::Unimplemented);
    drop(grpc);
    daemon.stop().await;
}
