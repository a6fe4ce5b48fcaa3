//! The real program with a collector of traces: what it sends, and that it needs none.
//!
//! The receiving end is that of OTLP itself, generated from its published definitions (opentelemetry-proto 1).
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "these are tests")]

#[path = "../bearer/mod.rs"]
mod bearer;
#[path = "../child/mod.rs"]
mod child;
mod collector;

use std::collections::BTreeSet;
use std::time::Duration;

use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::{CreateJobRequest, GetJobRequest};
use opentelemetry_proto::tonic::trace::v1::Span;
use opentelemetry_proto::tonic::trace::v1::span::SpanKind;
use opentelemetry_proto::tonic::trace::v1::status::StatusCode;
use tokio::net::TcpListener;
use tonic::Request;

use child::{Line, Program};
use collector::{Collector, attribute};

/// Of the recommendation's own example (W3C Trace Context, 3.2).
const TRACE: &str = "4bf92f3577b34da6a3ce929d0e0e4736";
const CALLER: &str = "00f067aa0ba902b7";
/// What nobody may read in a trace.
const PERSONAL: &str = "tamsin-vale";

fn config(url: &str) -> String {
    format!("[telemetry]\notlp_endpoint = \"{url}\"\n")
}

async fn create_job(line: &Line, id: &str) {
    let mut request = Request::new(CreateJobRequest {
        job_id: id.to_owned(),
        job_file: baytrim_jobs::job_file::EXAMPLE.to_owned(),
        ..CreateJobRequest::default()
    });
    let parent = format!("00-{TRACE}-{CALLER}-01");
    let headers = request.metadata_mut();
    headers.insert("traceparent", parent.parse().unwrap());
    let mut jobs = JobServiceClient::new(line.connect().await);
    jobs.create_job(request).await.unwrap();
}

fn bytes(hex: &str) -> Vec<u8> {
    let pairs = (0..hex.len()).step_by(2);
    pairs
        .map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap())
        .collect()
}

/// If this fails, traces of requests don't come, hang on the wrong parent, say not how requests ended, or name people and jobs.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_request_is_a_span_of_its_callers_trace() {
    let (collector, url) = Collector::start().await;
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let program = Program::start_with(&data, &config(&url), &[]);
    let line = program.listening().unwrap();
    create_job(&line, PERSONAL).await;
    let name = "jobs/not-there".to_owned();
    let mut jobs = JobServiceClient::new(line.connect().await);
    jobs.get_job(GetJobRequest { name }).await.unwrap_err();
    assert!(program.stop_within(Duration::from_secs(30)));
    let (create, get) = (
        "baytrim.v1.JobService/CreateJob",
        "baytrim.v1.JobService/GetJob",
    );
    collector.wait_for(&[create, get, "store"]).await;
    let spans = collector.spans();
    let find = |name: &str| spans.iter().find(|(_, span)| span.name == name).unwrap();
    let (about, created) = find(create);
    assert_eq!(attribute(about, "service.name").unwrap(), "baytrimd");
    assert_eq!(
        attribute(about, "service.version").unwrap(),
        env!("CARGO_PKG_VERSION")
    );
    assert_eq!(created.trace_id, bytes(TRACE));
    assert_eq!(created.parent_span_id, bytes(CALLER));
    assert_eq!(created.kind, SpanKind::Server as i32);
    let of = |span: &Span, key: &str| attribute(&span.attributes, key);
    assert_eq!(of(created, "rpc.system").unwrap(), "grpc");
    assert_eq!(of(created, "rpc.service").unwrap(), "baytrim.v1.JobService");
    assert_eq!(of(created, "rpc.method").unwrap(), "CreateJob");
    assert_eq!(of(created, "rpc.grpc.status_code").unwrap(), "0");
    // NOT_FOUND is the caller's affair: no error of the server.
    let (_, got) = find(get);
    assert_eq!(of(got, "rpc.grpc.status_code").unwrap(), "5");
    assert_ne!(
        got.status.clone().unwrap_or_default().code,
        StatusCode::Error as i32
    );
    assert!(
        got.parent_span_id.is_empty(),
        "nobody said where it is from"
    );
    let written = spans.iter().map(|(_, span)| span);
    let mut written = written.filter(|span| span.name == "store");
    assert!(written.any(|span| {
        span.parent_span_id == created.span_id && of(span, "baytrim.what").unwrap() == "record"
    }));
    assert!(!format!("{spans:?}").contains(PERSONAL));
    let keys: BTreeSet<&str> = spans
        .iter()
        .flat_map(|(_, span)| &span.attributes)
        .map(|attribute| attribute.key.as_str())
        .filter(|key| !key.starts_with("rpc.") && !key.starts_with("http."))
        .collect();
    let known = [
        "baytrim.bytes",
        "baytrim.what",
        "busy_ns",
        "idle_ns",
        "level",
    ];
    assert!(keys.iter().all(|key| known.contains(key)), "{keys:?}");
}

/// If this fails, a collector that is gone, or that takes and never answers, keeps the daemon from serving or from stopping.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_dead_collector_holds_nobody_up() {
    // Takes connections by its backlog and never says a word.
    let silent = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let gone = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let addresses = [&silent, &gone].map(|listener| listener.local_addr().unwrap());
    drop(gone);
    // More than the queue of spans holds, where none ever leaves it.
    for (address, requests) in addresses.into_iter().zip([2500, 200]) {
        let directory = tempfile::tempdir().unwrap();
        let data = directory.path().join("ledger");
        let program = Program::start_with(&data, &config(&format!("http://{address}")), &[]);
        let line = program.listening().unwrap();
        create_job(&line, "j").await;
        let mut jobs = JobServiceClient::new(line.connect().await);
        for _ in 0..requests {
            let name = "jobs/j".to_owned();
            jobs.get_job(GetJobRequest { name }).await.unwrap();
        }
        assert!(program.stop_within(Duration::from_secs(30)));
    }
}
