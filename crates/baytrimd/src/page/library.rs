//! What the shop's own jobs teach a job, and what it would start from.

use std::sync::Arc;

use axum::extract::{Form, Path, State};
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use baytrim_jobs::library::SOURCES_MAX;
use baytrim_jobs::state::Outcome;
use baytrim_jobs::{JobState, propose};
use baytrim_model::ids::JobId;
use baytrim_model::library::Vehicle;
use baytrim_model::proposal::Proposal;
use maud::{Markup, html};

use super::compare::sentence;
use super::decide::Fields;
use super::grid::{grid, plain_head};
use super::moment::moment;
use super::number::{decimals, fixed, signed as with_sign};
use super::problem::{self, Problem};
use super::read::{self, Page};
use super::{address, frame, scale, signed};
use crate::compute::Lane;
use crate::fault::{Fault, InternalFault};
use crate::library::{self, Near};
use crate::limits::NEAREST_MAX;
use crate::shop::{Loaded, Shop, stream_of};

/// What the page shows.
#[derive(Debug, Default)]
struct Found {
    near: Vec<Near>,
    /// The starting table of the entries with the same parts, where there are any.
    start: Option<Proposal>,
    /// Why there is none.
    problem: Option<String>,
}

/// Shows the page.
pub(super) async fn page(State(shop): State<Arc<Shop>>, Path(id): Path<String>) -> Page {
    let job = read::load_whole(&shop, &id).await?;
    let found = found(&shop, &job).await?;
    Ok(Html(render(&job.state, &found).into_string()))
}

/// Leads back from the address of the form, as on a reload.
pub(super) async fn back(Path(id): Path<String>) -> Redirect {
    Redirect::to(&format!("/jobs/{id}/library"))
}

/// Computes a starting table and leads to its proposal.
pub(super) async fn start(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
    Form(fields): Fields,
) -> Result<Response, Problem> {
    let id: JobId = id.parse()?;
    let author = signed::author().map_err(Fault::from)?;
    let from = fields.iter().filter(|(name, _)| name == "from");
    let from = from.map(|(_, job)| job.parse());
    let from = from.collect::<Result<Vec<JobId>, _>>()?;
    let (worker, name) = (Arc::clone(&shop), id.clone());
    let made = shop.compute().run(Lane::of(&id), move || {
        let is_same = |_: Outcome| false;
        worker
            .claims()
            .alone(&**worker.store(), &stream_of(&name), || {
                worker.decide(&name, &author, &is_same, |job| {
                    library::start(&worker, job, &from, &author.by).map(propose::event)
                })
            })
    });
    match made.await {
        Ok(decided) => match decided.outcome {
            Outcome::Proposal(made) => {
                Ok(Redirect::to(&address::proposal(&id, made)).into_response())
            }
            _ => {
                Err(Fault::from(InternalFault::Impossible("a start was recorded otherwise")).into())
            }
        },
        Err(Fault::Refused(refusal)) => {
            let job = read::load_whole(&shop, &id.to_string()).await?;
            let mut found = found(&shop, &job).await?;
            found.problem = Some(refusal.to_string());
            let page = render(&job.state, &found).into_string();
            Ok((problem::status(&refusal), Html(page)).into_response())
        }
        Err(fault) => Err(fault.into()),
    }
}

async fn found(shop: &Arc<Shop>, job: &Loaded) -> Result<Found, Problem> {
    if job.state.spec.vehicle.is_none() {
        return Ok(Found::default());
    }
    let (worker, job) = (Arc::clone(shop), job.clone());
    let lane = Lane::of(job.state.id());
    let found = shop.compute().run(lane, move || {
        let near = library::nearest(&worker, &job)?;
        let is_known = near.iter().any(|near| near.is_chosen);
        let start = if is_known {
            Some(library::start(&worker, &job, &[], &job.state.opened_by)?)
        } else {
            None
        };
        Ok(Found {
            near,
            start,
            problem: None,
        })
    });
    Ok(found.await?)
}

fn render(state: &JobState, found: &Found) -> Markup {
    let title = format!("Library for {}", state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let body = html! {
        h1 { "What the shop knows of its kind" }
        (address::sections(state.id(), "library"))
        @if let Some(problem) = &found.problem {
            div.problem role="alert" { p { strong { "Nothing was recorded. " } (problem) } }
        }
        @match &state.spec.vehicle {
            None => p.empty {
                "The job file does not say what the vehicle is: with a section " code { "[vehicle]" }
                ", model and parts, it would start from the shop's own jobs and teach the next."
            },
            Some(vehicle) => { p.lead { (words(vehicle)) } (nearest(state, found)) },
        }
        @if let Some(start) = &found.start { (map(state, start)) }
    };
    frame::page(&title, &way, &body)
}

fn words(vehicle: &Vehicle) -> String {
    let words = match vehicle.generation.as_str() {
        "" => vehicle.model.clone(),
        generation => format!("{}, {generation}", vehicle.model),
    };
    match vehicle.parts.as_slice() {
        [] => words + "; as it left its maker",
        parts => format!("{words}; {}", parts.join(", ")),
    }
}

fn nearest(state: &JobState, found: &Found) -> Markup {
    let path = address::library(state.id());
    let may_start = signed::may("LibraryService/CreateStartingTable");
    html! {
        section aria-labelledby="near" {
            h2 #near { "Approved jobs of this kind, the nearest first" }
            @if found.near.is_empty() {
                p.empty { "None yet: model, generation, engine and fuel must be the same, and a proposal from pulls approved." }
            } @else {
                form method="post" action={ (path) "/start" } {
                    ul.plain {
                        @for (place, near) in found.near.iter().take(NEAREST_MAX).enumerate() { (row(near, place, may_start)) }
                    }
                    @if may_start {
                        p {
                            "A starting table only adds fuel, within this job's limits. It is a proposal: somebody reviews "
                            "it, and the first pull must be checked before anybody rides."
                        }
                        (signed::signs())
                        div.buttons { button type="submit" { "Propose a starting table from those chosen" } }
                    }
                }
            }
        }
    }
}

fn row(near: &Near, place: usize, may_start: bool) -> Markup {
    let state = &near.entry.job.state;
    let head = state.head();
    html! {
        li {
            label.tick.wraps {
                @if may_start {
                    input type="checkbox" name="from" value=(state.id()) checked[near.is_chosen] disabled[place >= SOURCES_MAX];
                }
                span { strong { (state.spec.title) } ", " (near.likeness.sentence()) }
            }
            br;
            span.quiet {
                a href=(address::revision(state.id(), head.id)) { (state.id()) " " (head.id) }
                " from " (near.entry.lesson.pulls.len()) " pulls, " (moment(head.created_at))
            }
        }
    }
}

fn map(state: &JobState, start: &Proposal) -> Markup {
    let spec = &state.spec;
    let content = spec.table.content;
    let pairs = start.nodes.iter().zip(&spec.table.values);
    let change: Vec<f64> = pairs
        .map(|(node, &base)| (content.fuel(node.after) / content.fuel(base) - 1.0) * 100.0)
        .collect();
    let places = decimals(spec.table.resolution);
    let caption = "Starting table: fuel against the base table, percent; below it the table value";
    let cell = |node: usize| {
        let percent = change[node];
        let class = if percent.abs() > 1e-4 {
            scale::change(percent)
        } else {
            "still"
        };
        html! {
            td class=(class) {
                @if class == "still" { "=" } @else { (with_sign(percent, 1)) }
                small { (fixed(start.nodes[node].after, places)) }
            }
        }
    };
    html! {
        section aria-labelledby="start" {
            h2 #start { "What it would start from, with the same parts" }
            p { (sentence(&change)) }
            (grid(&spec.axes, caption, &plain_head, &cell))
            div.legend { (scale::change_legend("less fuel", "more fuel")) }
            @for remark in &start.fit.remarks { p { (remark) } }
        }
    }
}
