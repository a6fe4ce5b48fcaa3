//! What all charts share: their frame, their keys, their data as JSON.

use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse as _, Response};
use maud::{Markup, html};
use serde::Serialize;

use super::problem::Problem;
use crate::fault::{Fault, InternalFault};

/// The shape that stands for a pull, so that colour is not the only carrier.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Shape(usize);

impl Shape {
    /// Returns the shape of the pull at `index` of those drawn; after six they begin again.
    pub(super) fn at(index: usize) -> Self {
        Self(index % 6)
    }
}

/// Outlines of the six shapes in a square of 16 by 16; `assets/chart.js` draws the same.
const OUTLINES: [&str; 6] = [
    "M8 3.5a4.5 4.5 0 1 0 .01 0z",
    "M4 4h8v8h-8z",
    "M8 3l5 9h-10z",
    "M8 2.5l5.5 5.5l-5.5 5.5l-5.5 -5.5z",
    "M3 4h10l-5 9z",
    "M6 3h4v3h3v4h-3v3h-4v-3h-3v-4h3z",
];

/// Returns the place where the script draws a chart, and how `keys` move along it; without a script it says where the
/// numbers are.
pub(super) fn frame(kind: &str, source: &str, words: &str, keys: &str) -> Markup {
    let id = format!("{kind}-keys");
    html! {
        div.chart data-chart=(kind) data-source=(source) data-keys=(id) role="img" aria-label=(words) {
            p.empty data-waits { "The chart needs its script; the table below holds the same numbers." }
        }
        p.key.keys.no-print #(id) hidden { (keys) }
    }
}

/// Returns a piece of a line, drawn as the chart draws it.
pub(super) fn line(class: &str) -> Markup {
    html! {
        svg class={ "sample " (class) } viewBox="0 0 32 16" aria-hidden="true" {
            @if class == "target" || class == "predicted" { rect.band x="0" y="3" width="32" height="10" {} }
            line x1="0" x2="32" y1="8" y2="8" {}
        }
    }
}

/// Returns a pull's shape, drawn as the chart draws it.
pub(super) fn shape(shape: Shape) -> Markup {
    html! {
        svg class={ "sample pull" (shape.0) } viewBox="0 0 16 16" aria-hidden="true" { path d=(OUTLINES[shape.0]) {} }
    }
}

/// Returns a pull's shape in a drawing made here, its middle at (x, y).
pub(super) fn point(shape: Shape, x: f64, y: f64) -> Markup {
    html! {
        path class={ "pull" (shape.0) } d=(OUTLINES[shape.0])
            transform=(format!("translate({:.1} {:.1}) scale(.5)", x - 4.0, y - 4.0)) {}
    }
}

/// Returns data for a chart's script.
pub(super) fn json(data: &impl Serialize) -> Result<Response, Problem> {
    let text = serde_json::to_string(data).map_err(|_| {
        Fault::from(InternalFault::Impossible(
            "a chart can't be written as JSON",
        ))
    })?;
    Ok(([(CONTENT_TYPE, "application/json")], text).into_response())
}
