//! Counts every request: one middleware around the API and the page.

use std::sync::Arc;
use std::time::Instant;

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, StatusCode};
use axum::middleware::Next;
use axum::response::Response;
use http_body_util::BodyExt as _;
use tonic::Code;
use tracing::{Instrument as _, Span};

use super::{Call, Counted, Method, Metrics, PAGE};
use crate::telemetry;

/// Counts and times a request until the last byte of its answer, and logs it.
#[expect(
    clippy::disallowed_methods,
    reason = "how long a request took goes into metrics and log only"
)]
pub async fn count(State(metrics): State<Arc<Metrics>>, request: Request, next: Next) -> Response {
    let method = metrics.method_of(request.uri().path()).to_owned();
    let span = telemetry::request(&method, &request);
    let watch = Watch {
        span: span.clone(),
        running: Counted::new(&metrics.requests_running),
        metrics,
        method,
        began: Instant::now(),
        ended: None,
    };
    watch.follow(next.run(request).instrument(span).await)
}

/// How a request ended.
#[derive(Clone, Copy)]
enum Ended {
    Page(StatusCode),
    Call(Code),
}

impl Ended {
    /// Returns what it is counted as.
    fn name(self) -> String {
        match self {
            Self::Page(status) => status.as_u16().to_string(),
            Self::Call(code) => format!("{code:?}"),
        }
    }

    /// Tells the span of the request; an error is what its caller did nothing for.
    fn record(self, span: &Span) {
        let is_error = match self {
            Self::Page(status) => {
                span.record("http.response.status_code", status.as_u16());
                status.is_server_error()
            }
            Self::Call(code) => {
                span.record("rpc.grpc.status_code", code as i32);
                matches!(
                    code,
                    Code::Unknown
                        | Code::DeadlineExceeded
                        | Code::Unimplemented
                        | Code::Internal
                        | Code::Unavailable
                        | Code::DataLoss
                )
            }
        };
        if is_error {
            span.record("otel.status_code", "ERROR");
        }
    }
}

/// A request under way; when it is dropped, it has ended.
struct Watch {
    span: Span,
    metrics: Arc<Metrics>,
    method: String,
    began: Instant,
    /// How it ended; none while nobody knows.
    ended: Option<Ended>,
    #[expect(dead_code, reason = "counts while it lives")]
    running: Counted,
}

impl Watch {
    /// Stays with the body of an answer: what a call came to stands behind it, in its trailers.
    fn follow(mut self, response: Response) -> Response {
        self.ended = if self.method == PAGE {
            Some(Ended::Page(response.status()))
        } else {
            grpc_code(response.headers())
        };
        response.map(|body| {
            Body::new(body.map_frame(move |frame| {
                // All of it, so that it ends with the body and not with this function.
                let watch = &mut self;
                if let Some(ended) = frame.trailers_ref().and_then(grpc_code) {
                    watch.ended = Some(ended);
                }
                frame
            }))
        })
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let ended = self.ended.unwrap_or(Ended::Call(Code::Cancelled));
        ended.record(&self.span);
        let (code, elapsed) = (ended.name(), self.began.elapsed());
        tracing::debug!(method = self.method, code, ?elapsed, "request");
        let method = std::mem::take(&mut self.method);
        let by_method = Method {
            method: method.clone(),
        };
        let durations = &self.metrics.request_duration;
        durations
            .get_or_create(&by_method)
            .observe(elapsed.as_secs_f64());
        let call = Call { method, code };
        self.metrics.requests.get_or_create(&call).inc();
    }
}

/// Returns the status that headers or trailers carry.
fn grpc_code(headers: &HeaderMap) -> Option<Ended> {
    let bytes = headers.get("grpc-status")?.as_bytes();
    Some(Ended::Call(Code::from_bytes(bytes)))
}

#[cfg(test)]
mod tests {
    use axum::Router;
    use axum::routing::get;
    use http_body_util::BodyExt as _;
    use tower::ServiceExt as _;

    use super::*;

    async fn ask(metrics: &Arc<Metrics>, path: &str) -> Response {
        let app = Router::new()
            .route("/inbox", get(|| async { "hello" }))
            .fallback(|| async { tonic::Status::not_found("no").into_http::<Body>() })
            .layer(axum::middleware::from_fn_with_state(
                Arc::clone(metrics),
                count,
            ));
        let request = Request::builder().uri(path).body(Body::empty());
        let answer = app.oneshot(request.expect("a request")).await;
        answer.expect("an answer")
    }

    /// If this fails, a call is counted before it has ended, under a wrong name, or anybody can make up names without end.
    #[test]
    fn calls_are_counted_once_they_end_and_under_known_names_only() {
        let metrics = Arc::new(Metrics::new());
        tokio_test::block_on(async {
            let answer = ask(&metrics, "/inbox").await;
            assert!(!metrics.render().expect("renders").contains("method="));
            answer.into_body().collect().await.expect("a body");
            ask(&metrics, "/baytrim.v1.JobService/GetJob").await;
            ask(&metrics, "/baytrim.v1.JobService/Invented").await;
            ask(&metrics, "/baytrim.v1.Invented/Invented").await;
        });
        let text = metrics.render().expect("renders");
        let wanted = [
            r#"baytrim_requests_total{method="page",code="200"} 1"#,
            r#"baytrim_requests_total{method="/baytrim.v1.JobService/GetJob",code="NotFound"} 1"#,
            r#"baytrim_requests_total{method="unknown",code="NotFound"} 2"#,
            "baytrim_requests_running 0",
        ];
        for line in wanted {
            assert!(text.contains(line), "{line} is not in\n{text}");
        }
    }
}
