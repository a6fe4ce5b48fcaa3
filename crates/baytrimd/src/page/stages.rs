//! The stages of a job: what they are, and two of them one against the other.

mod comparison;
mod form;
mod vehicle;

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::response::Html;
use baytrim_jobs::JobState;
use baytrim_jobs::stage_comparison::StageComparison;
use baytrim_jobs::state::StageEntry;
use baytrim_model::ids::StageId;
use maud::{Markup, html};
use serde::Deserialize;

use super::moment::moment;
use super::read::{self, Page};
use super::{address, frame};
use crate::compute::Lane;
use crate::shop::{Loaded, Shop};
use crate::stages::{compare, ends};

use form::Draft;
pub(super) use form::{back, begin, close, reopen};

/// Two stages; none asks for the first and the last that have pulls.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Pair {
    from: Option<String>,
    to: Option<String>,
}

/// Shows the page.
pub(super) async fn page(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
    Query(pair): Query<Pair>,
) -> Page {
    shown(&shop, &id, &pair, &Draft::default()).await
}

/// Returns the page of a job with two stages compared; `draft` is what a form that was refused held.
async fn shown(shop: &Arc<Shop>, id: &str, pair: &Pair, draft: &Draft) -> Page {
    let job = read::load_whole(shop, id).await?;
    let found = match chosen(&job.state, pair)? {
        Some((from, to)) => Some(compared(shop, &job, from, to).await?),
        None => None,
    };
    let page = render(&job.state, found.as_ref(), draft);
    Ok(Html(page.into_string()))
}

/// Returns the stages to compare; none where fewer than two have pulls and none was asked for.
fn chosen(
    state: &JobState,
    pair: &Pair,
) -> Result<Option<(StageId, StageId)>, super::problem::Problem> {
    if let (Some(from), Some(to)) = (&pair.from, &pair.to) {
        return Ok(Some((from.parse()?, to.parse()?)));
    }
    Ok(ends(state))
}

async fn compared(
    shop: &Arc<Shop>,
    job: &Loaded,
    from: StageId,
    to: StageId,
) -> Result<StageComparison, super::problem::Problem> {
    let (worker, job) = (Arc::clone(shop), job.clone());
    let lane = Lane::of(job.state.id());
    let work = move || compare(&worker, &job, from, to);
    Ok(shop.compute().run(lane, work).await?)
}

/// Returns the page; `draft` is what a form that was refused held.
fn render(state: &JobState, found: Option<&StageComparison>, draft: &Draft) -> Markup {
    let title = format!("Stages of {}", state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let body = html! {
        h1 { "Stages" }
        (address::sections(state.id(), "stages"))
        section #live-stages data-live aria-labelledby="all" {
            h2 #all { "What was pulled in which state" }
            (list(state))
        }
        @match found {
            Some(found) => (comparison::section(state, found)),
            None => section aria-labelledby="compare" {
                h2 #compare { "Before and after" }
                p.empty { "Once two stages have pulls, they are compared here." }
            },
        }
        (form::sections(state, draft))
    };
    frame::page(&title, &way, &body)
}

fn list(state: &JobState) -> Markup {
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Table of stages" {
            table.list {
                thead { tr {
                    th scope="col" { "stage" } th scope="col" { "what it is" } th scope="col" { "pulls" }
                    th scope="col" { "who" } th scope="col" { "since" }
                } }
                tbody { @for entry in state.stages.iter().rev() { (row(state, entry)) } }
            }
        }
    }
}

fn row(state: &JobState, entry: &StageEntry) -> Markup {
    let stage = &entry.stage;
    let pulls = state.pulls.iter().filter(|pull| pull.stage == stage.id);
    html! {
        tr {
            th scope="row" { (stage.id) @if stage.id == state.stage().id { " now" } }
            td {
                strong { (stage.title) }
                @for words in [&stage.notes, &vehicle::words(&stage.vehicle)] {
                    @if !words.is_empty() { br; span.quiet { (words) } }
                }
            }
            td.links {
                @for pull in pulls { a href=(address::pull(state.id(), pull.record.id)) { (pull.record.id) } " " }
            }
            td { (entry.by) }
            td { (moment(entry.at)) }
        }
    }
}
