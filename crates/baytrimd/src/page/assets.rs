//! Style sheets and scripts, inside the program, each at a path that names its content.

use std::sync::LazyLock;

use axum::Router;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::IntoResponse;
use axum::routing::get;
use sha2::{Digest as _, Sha256};

/// The style sheet.
pub(super) const STYLE: &str = include_str!("../../assets/page.css");

/// A content at a path never changes, so that a tablet asks for it once.
const FOR_EVER: &str = "public, max-age=31536000, immutable";

/// A style sheet or a script with its path.
pub(super) struct Asset {
    text: &'static str,
    kind: &'static str,
    path: LazyLock<String>,
}

macro_rules! asset {
    ($text:expr, $ending:literal, $kind:literal) => {
        Asset {
            text: $text,
            kind: $kind,
            path: LazyLock::new(|| path($ending, $text)),
        }
    };
}

/// The page's looks.
pub(super) static PAGE_STYLE: Asset = asset!(STYLE, "css", "text/css; charset=utf-8");
/// What a script adds to every page.
pub(super) static PAGE_SCRIPT: Asset = asset!(
    include_str!("../../assets/page.js"),
    "js",
    "text/javascript; charset=utf-8"
);
/// Charts.
pub(super) static CHART_SCRIPT: Asset = asset!(
    include_str!("../../assets/chart.js"),
    "js",
    "text/javascript; charset=utf-8"
);
/// The library that draws charts; its licence is its first lines.
pub(super) static CHART_LIBRARY: Asset = asset!(
    include_str!("../../assets/vendor/uPlot-1.6.32.min.js"),
    "js",
    "text/javascript; charset=utf-8"
);
/// The library's looks.
pub(super) static CHART_STYLE: Asset = asset!(
    include_str!("../../assets/vendor/uPlot-1.6.32.min.css"),
    "css",
    "text/css; charset=utf-8"
);

static ALL: [&Asset; 5] = [
    &PAGE_STYLE,
    &PAGE_SCRIPT,
    &CHART_SCRIPT,
    &CHART_LIBRARY,
    &CHART_STYLE,
];

impl Asset {
    /// Returns the path.
    pub(super) fn path(&self) -> &str {
        &self.path
    }
}

/// Returns the page's icon as an address of its own: three cells, the middle one filled.
pub(super) fn icon() -> &'static str {
    "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 16 16'%3E\
     %3Crect width='16' height='16' rx='3' fill='%231d5c63'/%3E\
     %3Cpath d='M2 8h3M11 8h3' stroke='%23fff' stroke-width='2'/%3E\
     %3Crect x='6' y='4' width='4' height='8' fill='%23fff'/%3E%3C/svg%3E"
}

/// Returns the routes of all of them.
pub(super) fn router() -> Router {
    ALL.into_iter().fold(Router::new(), |router, asset| {
        let serve = move || async move {
            let headers = [(CONTENT_TYPE, asset.kind), (CACHE_CONTROL, FOR_EVER)];
            (headers, asset.text).into_response()
        };
        router.route(asset.path(), get(serve))
    })
}

fn path(ending: &str, text: &str) -> String {
    let hash = Sha256::digest(text);
    let start = hash
        .iter()
        .take(6)
        .fold(0_u64, |start, byte| start << 8 | u64::from(*byte));
    format!("/assets/{start:012x}.{ending}")
}
