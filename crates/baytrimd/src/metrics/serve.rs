//! Serves the figures to whoever scrapes them, at an address of their own.

use std::future::Future;
use std::sync::Arc;

use axum::Router;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use tokio::net::TcpListener;

use super::Metrics;

/// What the text form is called on the wire (`OpenMetrics` 1.0, section "Content type").
const CONTENT_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Serves `/metrics` on `listener` until `stop` resolves.
///
/// # Errors
/// When the listener fails.
pub async fn serve(
    metrics: Arc<Metrics>,
    listener: TcpListener,
    stop: impl Future<Output = ()> + Send + 'static,
) -> std::io::Result<()> {
    let app = Router::new()
        .route("/metrics", get(figures))
        .with_state(metrics);
    axum::serve(listener, app)
        .with_graceful_shutdown(stop)
        .await
}

async fn figures(State(metrics): State<Arc<Metrics>>) -> Response {
    match metrics.render() {
        Ok(text) => ([(header::CONTENT_TYPE, CONTENT_TYPE)], text).into_response(),
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}
