//! The review page: what a job holds, as HTML, and where a reviewer decides.
//!
//! Rendered here, so that it works without a script; the script adds keys and quick choosing.
//! Views are functions from the job's state; `read` and `decide` fetch and record.

mod address;
mod assets;
mod compare;
mod decide;
mod frame;
mod grid;
mod guard;
mod inbox;
mod job;
mod mark;
mod moment;
mod number;
mod problem;
mod proposal;
mod pull;
mod read;
mod revision;
mod scale;
mod strip;

#[cfg(test)]
mod tests;

use std::sync::Arc;

use axum::Router;
use axum::extract::Request;
use axum::http::header::CONTENT_TYPE;
use axum::middleware::from_fn;
use axum::response::{IntoResponse as _, Response};
use axum::routing::{any, get, post};

use crate::shop::Shop;

/// Returns the routes of the review page over `shop`; it has no fallback, see [`nowhere`].
///
/// Nobody signs in yet: whoever reaches it can read all jobs and give verdicts under any name.
pub fn router(shop: Arc<Shop>) -> Router {
    let proposal = "/jobs/{job}/proposals/{proposal}";
    Router::new()
        .route("/", get(read::inbox))
        .route("/jobs/{job}", get(read::job))
        .route("/jobs/{job}/compare", get(read::compare))
        .route("/jobs/{job}/pulls/{pull}", get(read::pull))
        .route("/jobs/{job}/revisions/{revision}", get(read::revision))
        .route(proposal, get(read::proposal))
        .route(
            &format!("{proposal}/selection"),
            post(decide::selection).get(decide::back),
        )
        .route(
            &format!("{proposal}/approve"),
            post(decide::approve).get(decide::back),
        )
        .route(
            &format!("{proposal}/reject"),
            post(decide::reject).get(decide::back),
        )
        .route(&format!("{proposal}/{{aspect}}"), get(read::aspect))
        .route(
            &format!("{proposal}/{{aspect}}/{{take}}"),
            get(read::chosen),
        )
        .with_state(shop)
        .merge(assets::router())
        .layer(from_fn(guard::guard))
}

/// Returns the page's place-holder for a daemon that asks for a token: the page has no sign-in to ask with.
pub fn closed() -> Router {
    let path = ["/", "/jobs/{*rest}"];
    let closed = || async { problem::Problem::closed() };
    let routes = path.into_iter().fold(Router::new(), |routes, path| {
        routes.route(path, any(closed))
    });
    routes.merge(assets::router()).layer(from_fn(guard::guard))
}

/// Answers what no route answers: a page for a browser, UNIMPLEMENTED for a gRPC client.
pub async fn nowhere(request: Request) -> Response {
    let kind = request.headers().get(CONTENT_TYPE);
    if kind.is_some_and(|kind| kind.as_bytes().starts_with(b"application/grpc")) {
        return tonic::Status::unimplemented("no service of this daemon has such a method")
            .into_http();
    }
    guard::sealed(problem::Problem::no_page().into_response())
}
