//! Traces: one span for each request, with the heavy work and the records behind it, sent to a collector where one is named.
//!
//! Spans name methods, outcomes and sizes: no job, no person, no vehicle, no text that somebody wrote. Without the feature
//! `otlp`, and where no collector is named, nobody listens and they cost next to nothing.

#[cfg(feature = "otlp")]
mod export;

use axum::extract::Request;
use axum::http::HeaderMap;
use tracing::Span;
use tracing::field::Empty;

#[cfg(feature = "otlp")]
pub(crate) use export::Traces;

/// What spans for the collector are marked by; log lines have none of them unless `log.level` says `trace`.
pub(crate) const TARGET: &str = "otlp";

/// Returns the span of a request, a child of whatever its caller says (W3C Trace Context); names of attributes are those
/// of OpenTelemetry for calls and for HTTP.
pub(crate) fn request(method: &str, request: &Request) -> Span {
    let call = method
        .strip_prefix('/')
        .and_then(|path| path.split_once('/'));
    let span = if let Some((service, name)) = call {
        tracing::trace_span!(
            target: TARGET,
            "request",
            otel.name = &method[1..],
            otel.kind = "server",
            otel.status_code = Empty,
            rpc.system = "grpc",
            rpc.service = service,
            rpc.method = name,
            rpc.grpc.status_code = Empty,
        )
    } else {
        tracing::trace_span!(
            target: TARGET,
            "request",
            otel.name = method,
            otel.kind = "server",
            otel.status_code = Empty,
            http.request.method = request.method().as_str(),
            http.response.status_code = Empty,
            rpc.grpc.status_code = Empty,
        )
    };
    follow(&span, request.headers());
    span
}

#[cfg(feature = "otlp")]
fn follow(span: &Span, headers: &HeaderMap) {
    if !span.is_disabled() {
        export::follow(span, headers);
    }
}

#[cfg(not(feature = "otlp"))]
fn follow(_span: &Span, _headers: &HeaderMap) {}

/// Returns a span of work that belongs to the request that is being served; none where none is.
pub(crate) fn work(name: &'static str) -> Span {
    if Span::current().is_disabled() {
        return Span::none();
    }
    tracing::trace_span!(target: TARGET, "work", otel.name = name)
}

/// Returns a span of a write to the store, as [`work`].
pub(crate) fn write(what: &'static str, bytes: usize) -> Span {
    if Span::current().is_disabled() {
        return Span::none();
    }
    tracing::trace_span!(target: TARGET, "write", otel.name = "store", baytrim.what = what, baytrim.bytes = bytes)
}
