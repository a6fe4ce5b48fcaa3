//! What the daemon tells of itself.

use baytrim_api::v1::daemon_service_client::DaemonServiceClient;
use baytrim_api::v1::{GetJobRequest, GetStatusRequest};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tonic::Code;

use crate::harness::{Bearer, Daemon, SOMEBODY, token_of};

/// Asks as a scraper does, over HTTP/1.0.
pub async fn scrape(daemon: &Daemon) -> String {
    let mut stream = TcpStream::connect(daemon.metrics_address).await.unwrap();
    stream
        .write_all(b"GET /metrics HTTP/1.0\r\n\r\n")
        .await
        .unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await.unwrap();
    answer
}

/// If this fails, a dashboard shows a daemon at rest although it works, or scraping stops with the first name it can't read.
#[tokio::test]
async fn figures_follow_what_was_done() {
    let daemon = Daemon::start().await;
    daemon.open_job("quoll-1").await;
    let name = "jobs/quoll-2".to_owned();
    let refused = daemon.jobs().get_job(GetJobRequest { name }).await;
    assert_eq!(refused.unwrap_err().code(), Code::NotFound);
    let text = scrape(&daemon).await;
    assert!(text.starts_with("HTTP/1.0 200 OK\r\n"), "{text}");
    assert!(text.contains("content-type: application/openmetrics-text; version=1.0.0"));
    assert!(text.ends_with("# EOF\n"), "{text}");
    let wanted = [
        r#"baytrim_requests_total{method="/baytrim.v1.JobService/CreateJob",code="Ok"} 1"#,
        r#"baytrim_requests_total{method="/baytrim.v1.JobService/GetJob",code="NotFound"} 1"#,
        r#"baytrim_store_writes_total{what="record",ended="durable"} 1"#,
        "baytrim_requests_running 0",
    ];
    for line in wanted {
        assert!(text.contains(line), "{line} is not in\n{text}");
    }
    assert!(!text.contains("quoll"), "figures name a job:\n{text}");
    daemon.stop().await;
}

/// If this fails, `baytrim status` shows a daemon that it is not.
#[tokio::test]
async fn status_counts_jobs_and_says_the_limits() {
    let daemon = Daemon::start().await;
    for id in ["quoll-1", "quoll-2"] {
        daemon.open_job(id).await;
    }
    let mut client = DaemonServiceClient::with_interceptor(
        daemon.channel.clone(),
        Bearer::of(token_of(SOMEBODY).text()),
    );
    let status = client.get_status(GetStatusRequest {}).await.unwrap();
    let status = status.into_inner();
    assert_eq!(status.job_count, 2);
    assert_eq!(status.version, env!("CARGO_PKG_VERSION"));
    assert_eq!(
        (status.live_pull_count, status.live_pull_count_max),
        (0, 32)
    );
    assert_eq!(status.compute_running_count_max, 2);
    assert_eq!(status.failed_write_count, 0);
    daemon.stop().await;
}
