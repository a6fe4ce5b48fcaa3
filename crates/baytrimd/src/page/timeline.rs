//! A pull over time: lambda, speed and plate, with what was refused and why.

mod bins;

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::response::Response;
use baytrim_jobs::JobState;
use baytrim_jobs::state::PullEntry;
use baytrim_model::gate::GateName;
use baytrim_model::ids::PullId;
use maud::{Markup, html};
use serde::{Deserialize, Serialize};

use super::problem::Problem;
use super::{address, chart, read};
use crate::compute::Lane;
use crate::shop::Shop;
use bins::{Stretch, stretch};

/// Steps of a chart: about one for each two pixels of a desktop's.
const BINS: usize = 600;

/// Rows of the table that says the same.
const TABLE_ROWS: usize = 60;

/// A stretch of a pull, in seconds; all of it where nothing is said.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    from: Option<f64>,
    to: Option<f64>,
}

/// What the chart draws.
#[derive(Debug, Serialize)]
struct Data {
    gates: Vec<&'static str>,
    #[serde(flatten)]
    stretch: Stretch,
}

/// Returns what the chart of a pull draws.
pub(super) async fn data(
    State(shop): State<Arc<Shop>>,
    Path((id, number)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    let shown = [asked.from.unwrap_or(0.0), asked.to.unwrap_or(f64::MAX)];
    let stretch = of_pull(&shop, &id, &number, shown, BINS).await?;
    let gates = GateName::ALL.iter().map(|gate| gate.sentence()).collect();
    chart::json(&Data { gates, stretch })
}

/// Returns the table that says what the chart shows.
pub(super) async fn table(
    State(shop): State<Arc<Shop>>,
    Path((id, number)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> read::Page {
    let shown = [asked.from.unwrap_or(0.0), asked.to.unwrap_or(f64::MAX)];
    let state = read::load(&shop, &id).await?;
    let pull = state.pull(number.parse()?)?;
    let stretch = of_pull(&shop, &id, &number, shown, BINS).await?;
    let words = format!("Pull {} over time", pull.record.id);
    let way = [
        (state.spec.title.clone(), address::job(state.id())),
        (
            format!("Pull {}", pull.record.id),
            address::pull(state.id(), pull.record.id),
        ),
    ];
    let body = html! {
        h1 { (words) }
        p.quiet {
            (format!("{:.1} to {:.1} s, {} rows", stretch.shown[0], stretch.shown[1], stretch.row_count))
            ". Each line tells the lowest and the highest of its stretch."
        }
        (rows(&stretch, &address::timeline_table(state.id(), pull.record.id)))
    };
    Ok(axum::response::Html(
        super::frame::page(&words, &way, &body).into_string(),
    ))
}

async fn of_pull(
    shop: &Arc<Shop>,
    id: &str,
    number: &str,
    shown: [f64; 2],
    bins: usize,
) -> Result<Stretch, Problem> {
    let job = read::load_whole(shop, id).await?;
    let number: PullId = number.parse()?;
    let held = Arc::clone(shop);
    let lane = Lane::of(job.state.id());
    let stretch = shop.compute().run(lane, move || {
        let spec = &job.state.spec;
        let pull = job.state.pull(number)?;
        let rows = held.judged().of_pull(&**held.store(), &job, pull)?;
        Ok(stretch(&rows, &spec.axes, &spec.target_lambda, shown, bins))
    });
    Ok(stretch.await?)
}

/// Returns the chart's place on a pull's page.
pub(super) fn section(state: &JobState, pull: &PullEntry) -> Markup {
    let (job, id) = (state.id(), pull.record.id);
    html! {
        section aria-labelledby="time" {
            h2 #time { "Over time" }
            (chart::frame("time", &address::timeline(job, id), "Lambda, engine speed and plate opening over time, with what was refused",
                "Keys: arrows move along, Page Up and Page Down to the next span, + and - look closer and wider, 0 shows the whole pull."))
            ul.chart-key {
                li { (chart::line("target")) "target" }
                li { (chart::line("accepted")) "as read, accepted" }
                li { (chart::line("refused")) "striped: refused" }
                li.quiet { "the scale of lambda fits what was accepted" }
            }
            div.buttons data-chart-buttons hidden {
                button type="button" data-move="earlier" { "\u{2190} Earlier" }
                button type="button" data-move="later" { "Later \u{2192}" }
                button type="button" data-move="closer" { "Closer" }
                button type="button" data-move="wider" { "Wider" }
                button type="button" data-move="whole" { "Whole pull" }
            }
            p { a href=(address::timeline_table(job, id)) { "The same as a table" } }
        }
    }
}

fn rows(stretch: &Stretch, path: &str) -> Markup {
    let count = stretch.offset_s.len();
    let lines = (0..TABLE_ROWS.min(count)).map(|line| {
        let lines = TABLE_ROWS.min(count);
        line * count / lines..(line + 1) * count / lines
    });
    let closer = |steps: &std::ops::Range<usize>| {
        let end = stretch.offset_s.get(steps.end).unwrap_or(&stretch.shown[1]);
        format!(
            "{path}?from={:.3}&to={end:.3}",
            stretch.offset_s[steps.start]
        )
    };
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="The pull over time" {
            table.list.compact {
                thead { tr {
                    th.n scope="col" { "from, s" } th.n scope="col" { "lambda" } th.n scope="col" { "rpm" }
                    th.n scope="col" { "plate, %" } th scope="col" { "mostly" }
                } }
                tbody {
                    @for steps in lines {
                        tr {
                            th.n scope="row" {
                                a href=(closer(&steps)) { (format!("{:.1}", stretch.offset_s[steps.start])) }
                            }
                            td.n { (range(stretch.lambda.over(steps.clone()), 3)) }
                            td.n { (range(stretch.rpm.over(steps.clone()), 0)) }
                            td.n { (range(stretch.plate_percent.over(steps.clone()), 1)) }
                            td { (fate(&stretch.refused_by[steps])) }
                        }
                    }
                }
            }
        }
    }
}

fn range(range: Option<[f32; 2]>, decimals: usize) -> String {
    range.map_or_else(
        || "not read".to_owned(),
        |[low, high]| format!("{low:.decimals$}\u{2013}{high:.decimals$}"),
    )
}

fn fate(steps: &[Option<usize>]) -> String {
    let refused: Vec<usize> = steps.iter().flatten().copied().collect();
    if refused.len() * 2 <= steps.len() {
        return "accepted".to_owned();
    }
    let count = |gate: usize| refused.iter().filter(|&&by| by == gate).count();
    let most = (0..GateName::ALL.len()).max_by_key(|&gate| count(gate));
    most.map_or_else(String::new, |gate| {
        format!("refused: {}", GateName::ALL[gate].sentence())
    })
}
