//! The style sheet and the script, inside the program, each at a path that names its content.

use std::sync::LazyLock;

use axum::Router;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::IntoResponse;
use axum::routing::get;
use sha2::{Digest as _, Sha256};

/// The style sheet.
pub(super) const STYLE: &str = include_str!("../../assets/page.css");

/// The script.
pub(super) const SCRIPT: &str = include_str!("../../assets/page.js");

/// A content at a path never changes, so that a tablet asks for it once.
const FOR_EVER: &str = "public, max-age=31536000, immutable";

static STYLE_PATH: LazyLock<String> = LazyLock::new(|| path("css", STYLE));
static SCRIPT_PATH: LazyLock<String> = LazyLock::new(|| path("js", SCRIPT));

/// Returns the path of the style sheet.
pub(super) fn style_path() -> &'static str {
    &STYLE_PATH
}

/// Returns the path of the script.
pub(super) fn script_path() -> &'static str {
    &SCRIPT_PATH
}

/// Returns the page's icon as an address of its own: three cells, the middle one filled.
pub(super) fn icon() -> &'static str {
    "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 16 16'%3E\
     %3Crect width='16' height='16' rx='3' fill='%231d5c63'/%3E\
     %3Cpath d='M2 8h3M11 8h3' stroke='%23fff' stroke-width='2'/%3E\
     %3Crect x='6' y='4' width='4' height='8' fill='%23fff'/%3E%3C/svg%3E"
}

/// Returns the routes of both.
pub(super) fn router() -> Router {
    let serve = |kind: &'static str, text: &'static str| {
        get(move || async move {
            ([(CONTENT_TYPE, kind), (CACHE_CONTROL, FOR_EVER)], text).into_response()
        })
    };
    Router::new()
        .route(style_path(), serve("text/css; charset=utf-8", STYLE))
        .route(
            script_path(),
            serve("text/javascript; charset=utf-8", SCRIPT),
        )
}

fn path(ending: &str, text: &str) -> String {
    let hash = Sha256::digest(text);
    let start = hash
        .iter()
        .take(6)
        .fold(0_u64, |start, byte| start << 8 | u64::from(*byte));
    format!("/assets/{start:012x}.{ending}")
}
