//! The review page: what a job holds, as HTML, and where a reviewer decides.
//!
//! Rendered here, so that it works without a script; the script adds keys and quick choosing.
//! Views are functions from the job's state; `read` and `decide` fetch and record.

mod address;
mod assets;
mod chart;
mod comment;
mod compare;
mod coverage;
mod decide;
mod frame;
mod grid;
mod grip;
mod guard;
mod inbox;
mod job;
mod library;
mod mark;
mod moment;
mod number;
mod power;
mod problem;
mod proposal;
mod pull;
mod pulls;
mod read;
mod realised;
mod revert;
mod revision;
pub(crate) mod saying;
mod scale;
mod sheet;
mod shop;
mod sign_in;
mod signed;
mod stages;
mod strip;
mod timeline;
mod traces;

#[cfg(test)]
mod tests;

use std::sync::Arc;

use axum::Router;
use axum::extract::Request;
use axum::http::header::CONTENT_TYPE;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};

use crate::access::Access;
use crate::shop::Shop;

/// Returns the routes of the review page over `shop`, for whom `access` lets in; it has no fallback, see [`nowhere`].
pub fn router(shop: Arc<Shop>, access: Access) -> Router {
    let proposal = "/jobs/{job}/proposals/{proposal}";
    Router::new()
        .route("/", get(read::inbox))
        .route("/shop", get(shop::page))
        .route("/changes", get(read::changes))
        .route("/jobs/{job}", get(read::job))
        .route("/jobs/{job}/compare", get(read::compare))
        .route("/jobs/{job}/coverage", get(coverage::page))
        .route("/jobs/{job}/grip", get(grip::page))
        .route("/jobs/{job}/sheet", get(sheet::page))
        .route("/jobs/{job}/sheet.pdf", get(sheet::file))
        .route("/jobs/{job}/library", get(library::page))
        .route(
            "/jobs/{job}/library/start",
            post(library::start).get(library::back),
        )
        .route("/jobs/{job}/stages", get(stages::page))
        .route(
            "/jobs/{job}/stages/begin",
            post(stages::begin).get(stages::back),
        )
        .route(
            "/jobs/{job}/stages/close",
            post(stages::close).get(stages::back),
        )
        .route(
            "/jobs/{job}/stages/reopen",
            post(stages::reopen).get(stages::back),
        )
        .route("/jobs/{job}/power", get(power::page))
        .route("/jobs/{job}/power/curves", get(power::curves))
        .route("/jobs/{job}/traces", get(traces::page))
        .route("/jobs/{job}/traces/band", get(traces::band))
        .route("/jobs/{job}/pulls/{pull}/timeline", get(timeline::data))
        .route("/jobs/{job}/pulls/{pull}/table", get(timeline::table))
        .route("/jobs/{job}/pulls/{pull}", get(read::pull))
        .route("/jobs/{job}/compare-pulls", get(pulls::page))
        .route("/jobs/{job}/revisions/{revision}", get(read::revision))
        .route(
            "/jobs/{job}/revisions/{revision}/revert",
            post(revert::revert).get(revert::back),
        )
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
        .route(
            &format!("{proposal}/comment"),
            post(comment::comment).get(decide::back),
        )
        .route(&format!("{proposal}/{{aspect}}"), get(read::aspect))
        .route(
            &format!("{proposal}/{{aspect}}/{{take}}"),
            get(read::chosen),
        )
        .with_state(shop)
        .merge(sign_in::router(access.clone()))
        .merge(assets::router())
        .layer(from_fn_with_state(access, signed::enter))
        .layer(from_fn(guard::guard))
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
