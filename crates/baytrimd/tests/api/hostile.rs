//! What a caller may do to the transport without harm to others.

use std::time::Duration;

use baytrim_api::v1::{CreateJobRequest, GetJobRequest, ListJobsRequest};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tonic::Code;

use crate::harness::{Daemon, SOMEBODY, by};

/// If this fails, large headers fill the daemon's memory, or a large message is taken in whole.
#[tokio::test]
async fn large_headers_and_messages_are_refused() {
    let daemon = Daemon::start().await;
    let mut request = by(SOMEBODY, ListJobsRequest::default());
    let bomb = "x".repeat(1 << 20).parse().unwrap();
    request.metadata_mut().insert("x-bomb", bomb);
    daemon.jobs().list_jobs(request).await.unwrap_err();
    let mut request = by(SOMEBODY, ListJobsRequest::default());
    for number in 0..3000 {
        let key: tonic::metadata::MetadataKey<_> = format!("x-{number}").parse().unwrap();
        request
            .metadata_mut()
            .insert(key, "0123456789".parse().unwrap());
    }
    daemon.jobs().list_jobs(request).await.unwrap_err();
    let large = CreateJobRequest {
        job_id: "large".to_owned(),
        job_file: "#".repeat(11 << 20),
        ..CreateJobRequest::default()
    };
    let refused = daemon.jobs().create_job(large).await.unwrap_err();
    assert!(
        matches!(
            refused.code(),
            Code::OutOfRange | Code::InvalidArgument | Code::ResourceExhausted
        ),
        "{refused:?}"
    );
    // Others are served as before.
    let daemon_lives = crate::harness::connect(daemon.address).await;
    drop(daemon_lives);
    daemon
        .jobs()
        .list_jobs(ListJobsRequest::default())
        .await
        .unwrap();
    daemon.stop().await;
}

/// If this fails, connections that say nothing, or say it slowly, keep others from being served.
#[tokio::test]
async fn stalled_connections_keep_nobody_out() {
    let daemon = Daemon::start().await;
    let mut stalled = Vec::new();
    for number in 0..200 {
        let mut stream = TcpStream::connect(daemon.address).await.unwrap();
        let start: &[u8] = match number % 4 {
            0 => b"",
            1 => b"GET / HT",
            2 => b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\0\0\0\x04\0\0\0\0\0",
            _ => b"POST /sign-in HTTP/1.1\r\nhost: localhost\r\ncontent-length: 1000000\r\n\r\nto",
        };
        stream.write_all(start).await.unwrap();
        stalled.push(stream);
    }
    let mut jobs = daemon.jobs();
    let served = jobs.list_jobs(ListJobsRequest::default());
    tokio::time::timeout(Duration::from_secs(5), served)
        .await
        .unwrap()
        .unwrap();
    println!("{} stalled connections", stalled.len());
    drop(stalled);
    daemon.stop().await;
}

/// If this fails, a name leads out of the shop's own.
#[tokio::test]
async fn names_lead_nowhere_else() {
    let daemon = Daemon::start().await;
    daemon.open_job("quoll-1").await;
    for name in [
        "jobs/../shop",
        "jobs/..",
        "shop",
        "/jobs/quoll-1",
        "jobs/quoll-1/",
        "jobs//quoll-1",
        "jobs/quoll-1/../quoll-1",
        "jobs/quoll%2d1",
        "jobs/quoll-1\0",
        "jobs/QUOLL-1",
        "jobs/\u{ff0e}\u{ff0e}/shop",
        "jobs/shop",
        "bay/east",
        "",
    ] {
        let name = name.to_owned();
        let status = daemon
            .jobs()
            .get_job(GetJobRequest { name: name.clone() })
            .await
            .unwrap_err();
        assert!(
            matches!(status.code(), Code::InvalidArgument | Code::NotFound),
            "{name:?}: {status:?}"
        );
    }
    for path in [
        "/jobs/../../etc/passwd",
        "/assets/../../../etc/passwd",
        "/jobs/%2e%2e/%2e%2e/etc/passwd",
        "/sign-in/../you",
    ] {
        let answer = get(&daemon, path, "").await;
        assert!(!answer.contains("root:"), "{path}: {answer}");
        assert!(!answer.starts_with("HTTP/1.1 200"), "{path}: {answer}");
    }
    daemon.stop().await;
}

/// Asks for a page as a browser does.
pub async fn get(daemon: &Daemon, path: &str, cookie: &str) -> String {
    let head = format!(
        "GET {path} HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\ncookie: {cookie}\r\n\r\n"
    );
    exchange(daemon, &head).await
}

/// Sends a form as a browser does.
pub async fn post(daemon: &Daemon, path: &str, cookie: &str, origin: &str, form: &str) -> String {
    let head = format!(
        "POST {path} HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\norigin: {origin}\r\ncookie: {cookie}\r\n\
         content-type: application/x-www-form-urlencoded\r\ncontent-length: {}\r\n\r\n{form}",
        form.len()
    );
    exchange(daemon, &head).await
}

async fn exchange(daemon: &Daemon, text: &str) -> String {
    let mut stream = TcpStream::connect(daemon.address).await.unwrap();
    stream.write_all(text.as_bytes()).await.unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.unwrap();
    String::from_utf8_lossy(&answer).into_owned()
}
