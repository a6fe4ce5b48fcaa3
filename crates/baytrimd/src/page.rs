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
use axum::middleware::from_fn;
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};

use crate::shop::Shop;

/// Returns the routes of the review page over `shop`; it has no fallback, see [`not_found`].
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
        .route(&format!("{proposal}/selection"), post(decide::selection).get(decide::back))
        .route(&format!("{proposal}/approve"), post(decide::approve).get(decide::back))
        .route(&format!("{proposal}/reject"), post(decide::reject).get(decide::back))
        .route(&format!("{proposal}/{{reading}}"), get(read::reading))
        .route(&format!("{proposal}/{{reading}}/{{take}}"), get(read::chosen))
        .with_state(shop)
        .merge(assets::router())
        .layer(from_fn(guard::guard))
}

/// Returns the answer to a browser that asks for a page that there isn't.
pub fn not_found() -> Response {
    problem::Problem::no_page().into_response()
}
