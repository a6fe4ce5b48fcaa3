//! What the chart of a plate band draws.

use baytrim_jobs::JobState;
use baytrim_jobs::propose::TOLERANCE_PERCENT;
use maud::{Markup, html};
use serde::Serialize;

use super::band::{Stop, extremes};
use super::{Chosen, PullPoints};
use crate::page::chart::{self, Shape};

/// Steps of speed in which readings are thinned: about one for each few pixels.
const BINS: usize = 160;

/// What the chart draws: curves at the breakpoints of speed, points of pulls.
#[derive(Debug, Serialize)]
pub(super) struct Data {
    rpm: Vec<f64>,
    target: Vec<f64>,
    tolerance_percent: f64,
    leanest: Vec<f64>,
    before: Vec<Option<f64>>,
    predicted: Vec<Option<f64>>,
    low: Vec<Option<f64>>,
    high: Vec<Option<f64>>,
    pulls: Vec<Pull>,
}

#[derive(Debug, Serialize)]
struct Pull {
    id: String,
    revision: String,
    rpm: Vec<f64>,
    lambda: Vec<f64>,
}

/// Returns what the chart draws.
pub(super) fn of(state: &JobState, chosen: &Chosen<'_>, drawn: &[PullPoints<'_>]) -> Data {
    let stops = chosen.band.stops(state, chosen.proposal);
    let all = |pick: &dyn Fn(&Stop) -> f64| stops.iter().map(pick).collect::<Vec<f64>>();
    let some = |pick: &dyn Fn(&Stop) -> Option<f64>| stops.iter().map(pick).collect();
    let interval = |end: usize| move |stop: &Stop| Some(round(stop.said?.interval?[end]));
    Data {
        rpm: all(&|stop| stop.rpm),
        target: all(&|stop| stop.target),
        tolerance_percent: TOLERANCE_PERCENT,
        leanest: all(&|stop| stop.leanest),
        before: some(&|stop| Some(round(stop.said?.before))),
        predicted: some(&|stop| Some(round(stop.said?.predicted))),
        low: some(&interval(0)),
        high: some(&interval(1)),
        pulls: drawn.iter().map(pull).collect(),
    }
}

fn pull(drawn: &PullPoints<'_>) -> Pull {
    let points = extremes(&drawn.points, BINS);
    Pull {
        id: drawn.pull.record.id.to_string(),
        revision: drawn.pull.record.revision.to_string(),
        rpm: points.iter().map(|point| point.rpm.round()).collect(),
        lambda: points.iter().map(|point| round(point.lambda)).collect(),
    }
}

fn round(lambda: f64) -> f64 {
    (lambda * 1e4).round() / 1e4
}

/// Returns the chart's key; pulls can be hidden and shown by it.
pub(super) fn key(chosen: &Chosen<'_>) -> Markup {
    html! {
        ul.chart-key {
            li { (chart::line("target")) "target, within its tolerance of " (TOLERANCE_PERCENT) " %" }
            li { (chart::line("leanest")) "leanest permitted" }
            @if let Some(entry) = chosen.proposal {
                li { (chart::line("before")) "before: " (entry.proposal.base_revision) ", as " (entry.proposal.id) " estimates it" }
                li { (chart::line("predicted")) "predicted with " (entry.proposal.id) ", and its 95 % interval" }
            }
            @for (index, pull) in chosen.pulls.iter().enumerate() {
                li { (chart::shape(Shape::at(index))) "pull " (pull.record.id) ", " (pull.record.revision) " loaded" }
            }
        }
    }
}
