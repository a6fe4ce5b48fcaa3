//! The way to a collector: OTLP over gRPC, from a queue that drops what does not fit.

use std::time::Duration;

use axum::http::HeaderMap;
use opentelemetry::propagation::{Extractor, TextMapPropagator as _};
use opentelemetry::trace::TracerProvider as _;
use opentelemetry_otlp::{SpanExporter, WithExportConfig as _};
use opentelemetry_sdk::Resource;
use opentelemetry_sdk::propagation::TraceContextPropagator;
use opentelemetry_sdk::trace::SdkTracerProvider;
use tracing::Subscriber;
use tracing::level_filters::LevelFilter;
use tracing_opentelemetry::OpenTelemetrySpanExt as _;
use tracing_subscriber::Layer;
use tracing_subscriber::filter::Targets;
use tracing_subscriber::registry::LookupSpan;

use super::TARGET;

/// Time that a collector has to take spans; those behind them wait in the queue meanwhile, or are dropped.
const PATIENCE: Duration = Duration::from_secs(5);
/// Time that a daemon that stops waits for its last spans to be taken.
const LAST_PATIENCE: Duration = Duration::from_secs(2);

/// The way to a collector; the last spans go when it is dropped.
pub(crate) struct Traces(SdkTracerProvider);

impl Traces {
    /// Opens the way to a collector; must be called within a runtime. Nobody is reached yet.
    ///
    /// # Errors
    /// When the address can't be used.
    pub(crate) fn to(endpoint: &str) -> anyhow::Result<Self> {
        let exporter = SpanExporter::builder()
            .with_tonic()
            .with_endpoint(endpoint)
            .with_timeout(PATIENCE)
            .build()?;
        let resource = Resource::builder_empty()
            .with_service_name("baytrimd")
            .with_attribute(opentelemetry::KeyValue::new(
                "service.version",
                env!("CARGO_PKG_VERSION"),
            ));
        let provider = SdkTracerProvider::builder()
            .with_batch_exporter(exporter)
            .with_resource(resource.build());
        Ok(Self(provider.build()))
    }

    /// Returns what turns spans into such that a collector takes.
    pub(crate) fn layer<S>(&self) -> impl Layer<S> + use<S>
    where
        S: Subscriber + for<'span> LookupSpan<'span>,
    {
        let layer = tracing_opentelemetry::layer()
            .with_tracer(self.0.tracer("baytrimd"))
            .with_location(false)
            .with_threads(false)
            .with_target(false)
            .with_tracked_inactivity(false);
        layer.with_filter(Targets::new().with_target(TARGET, LevelFilter::TRACE))
    }
}

impl Drop for Traces {
    fn drop(&mut self) {
        if let Err(error) = self.0.shutdown_with_timeout(LAST_PATIENCE) {
            tracing::debug!(%error, "the last spans were not taken");
        }
    }
}

/// Makes a span a child of what the caller says in `traceparent`.
pub(super) fn follow(span: &tracing::Span, headers: &HeaderMap) {
    let context = TraceContextPropagator::new().extract(&Headers(headers));
    // Fails only where nobody listens.
    let _ = span.set_parent(context);
}

struct Headers<'a>(&'a HeaderMap);

impl Extractor for Headers<'_> {
    fn get(&self, key: &str) -> Option<&str> {
        self.0.get(key)?.to_str().ok()
    }

    fn keys(&self) -> Vec<&str> {
        self.0.keys().map(axum::http::HeaderName::as_str).collect()
    }
}
