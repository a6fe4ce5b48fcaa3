//! The receiving end of OTLP over gRPC: keeps all spans that it is sent.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use opentelemetry_proto::tonic::collector::trace::v1::trace_service_server::{
    TraceService, TraceServiceServer,
};
use opentelemetry_proto::tonic::collector::trace::v1::{
    ExportTraceServiceRequest, ExportTraceServiceResponse,
};
use opentelemetry_proto::tonic::common::v1::KeyValue;
use opentelemetry_proto::tonic::common::v1::any_value::Value;
use opentelemetry_proto::tonic::trace::v1::Span;
use tokio::net::TcpListener;
use tonic::transport::server::TcpIncoming;
use tonic::{Request, Response, Status};

#[derive(Debug, Clone, Default)]
pub(crate) struct Collector {
    taken: Arc<Mutex<Vec<ExportTraceServiceRequest>>>,
}

#[tonic::async_trait]
impl TraceService for Collector {
    async fn export(
        &self,
        request: Request<ExportTraceServiceRequest>,
    ) -> Result<Response<ExportTraceServiceResponse>, Status> {
        self.taken.lock().unwrap().push(request.into_inner());
        Ok(Response::new(ExportTraceServiceResponse::default()))
    }
}

impl Collector {
    /// Starts one; returns its address too.
    pub(crate) async fn start() -> (Self, String) {
        let collector = Self::default();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let server = tonic::transport::Server::builder()
            .add_service(TraceServiceServer::new(collector.clone()))
            .serve_with_incoming(TcpIncoming::from(listener));
        tokio::spawn(server);
        (collector, url)
    }

    /// Returns the spans that have come, with what was said of who sent them.
    pub(crate) fn spans(&self) -> Vec<(Vec<KeyValue>, Span)> {
        let taken = self.taken.lock().unwrap();
        let resources = taken.iter().flat_map(|request| &request.resource_spans);
        let spans = resources.flat_map(|of_one| {
            let about = of_one.resource.clone().unwrap_or_default().attributes;
            let spans = of_one.scope_spans.iter().flat_map(|scope| &scope.spans);
            spans.map(move |span| (about.clone(), span.clone()))
        });
        spans.collect()
    }

    /// Waits until spans of all these names have come.
    pub(crate) async fn wait_for(&self, names: &[&str]) {
        for _ in 0..600 {
            let spans = self.spans();
            let has = |name: &&str| spans.iter().any(|(_, span)| span.name == *name);
            if names.iter().all(has) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("not all of {names:?} have come: {:?}", self.spans());
    }
}

/// Returns an attribute as text.
pub(crate) fn attribute(attributes: &[KeyValue], key: &str) -> Option<String> {
    let found = attributes.iter().find(|attribute| attribute.key == key)?;
    Some(match found.value.as_ref()?.value.as_ref()? {
        Value::StringValue(text) => text.clone(),
        Value::IntValue(number) => number.to_string(),
        other => format!("{other:?}"),
    })
}
