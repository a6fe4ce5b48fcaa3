//! Where the engine has been in all pulls together, how sure each node is, and what to run next.

mod plan;

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::response::Html;
use baytrim_estimate::UseMap;
use baytrim_jobs::JobState;
use baytrim_jobs::propose::chosen_pulls;
use baytrim_jobs::pull_plan::{NextPull, PlanAsk, next_pull};
use baytrim_model::pull::NodeCoverage;
use maud::{Markup, html};
use serde::Deserialize;

use super::grid::{grid, plain_head};
use super::mark::{self, is_borrowed, is_unvisited};
use super::number::{counted, seconds};
use super::read::{self, Page};
use super::signed::carried;
use super::{address, frame, scale};
use crate::compute::Lane;
use crate::fault::Fault;
use crate::shop::{Loaded, Shop};

/// What is asked of the plan.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    /// How the vehicle is used.
    #[serde(rename = "use")]
    used: Option<String>,
    /// Dyno seconds.
    seconds: Option<f64>,
}

/// Uses that can be chosen here, with their words.
const USES: [(&str, &str); 4] = [
    ("visited", "wherever it has been"),
    ("street", "street"),
    ("track", "track"),
    ("wide_open", "wide open"),
];

/// Shows the page.
pub(super) async fn page(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Page {
    let job = read::load_whole(&shop, &id).await?;
    let held = Arc::clone(&shop);
    let lane = Lane::of(job.state.id());
    let page = shop.compute().run(
        lane,
        carried(move || {
            let next = next(&held, &job, &asked);
            Ok(render(&job.state, &asked, next).into_string())
        }),
    );
    Ok(Html(page.await?))
}

fn next(shop: &Shop, job: &Loaded, asked: &Asked) -> Result<NextPull, Fault> {
    let pulls = chosen_pulls(&job.state, &[])?;
    let evidence = shop.evidence().of_pulls(&**shop.store(), job, &pulls)?;
    let evidence: Vec<_> = evidence.iter().map(|evidence| &**evidence).collect();
    let ask = PlanAsk {
        use_map: match asked.used.as_deref() {
            Some("street") => UseMap::Street,
            Some("track") => UseMap::Track,
            Some("wide_open") => UseMap::WideOpen,
            _ => UseMap::Visited,
        },
        seconds: asked.seconds.unwrap_or(0.0),
        tolerance_percent: 0.0,
    };
    Ok(next_pull(&job.state, &evidence, &ask)?)
}

fn render(state: &JobState, asked: &Asked, next: Result<NextPull, Fault>) -> Markup {
    let title = format!("Coverage and plan of {}", state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let pooled = pooled(state);
    let next = match next {
        Ok(next) => Ok(next),
        Err(fault) => Err(fault.to_string()),
    };
    let body = html! {
        h1 { "Coverage and plan" }
        (address::sections(state.id(), "coverage"))
        section aria-labelledby="plan" {
            h2 #plan { "What to run next" }
            (plan::section(state, asked, &next))
        }
        section aria-labelledby="coverage" {
            h2 #coverage { "Where the engine has been" }
            p.lead { (sentence(&pooled, state.present_pulls().count())) }
            @if state.pulls.iter().any(|pull| !state.has_present_parts(pull)) {
                p.quiet { "Pulls from before parts were fitted (stage " (state.parts_since()) ") are left out: they say nothing of the engine as it is." }
            }
            (visited(state, &pooled))
            div.legend { (scale::dwell_legend()) dl.marks { div { dt { "\u{b7}" } dd { "never visited" } } } }
        }
        section aria-labelledby="sure" {
            h2 #sure { "How sure each node is" }
            (sure(state))
        }
    };
    frame::page(&title, &way, &body)
}

/// Returns the coverage of all pulls with the present parts together.
fn pooled(state: &JobState) -> Vec<NodeCoverage> {
    let mut pooled = vec![NodeCoverage::default(); state.spec.axes.node_count()];
    for pull in state.present_pulls() {
        for (sum, covered) in pooled.iter_mut().zip(&pull.record.summary.coverage) {
            sum.dwell_s += covered.dwell_s;
            sum.visits += covered.visits;
        }
    }
    pooled
}

fn sentence(pooled: &[NodeCoverage], pulls: usize) -> String {
    let visited = pooled.iter().filter(|node| node.visits > 0).count();
    let dwell_s: f64 = pooled.iter().map(|node| node.dwell_s).sum();
    format!(
        "{} in {}: {visited} of {} visited.",
        seconds(dwell_s),
        counted(pulls, "pull"),
        counted(pooled.len(), "node")
    )
}

fn visited(state: &JobState, pooled: &[NodeCoverage]) -> Markup {
    let caption = "All pulls: accepted seconds on each node; below it the number of visits";
    grid(&state.spec.axes, caption, &plain_head, &|node| {
        let covered = pooled[node];
        if covered.visits == 0 {
            return html! { td.none { "\u{b7}" } };
        }
        html! {
            td class=(scale::dwell(covered.dwell_s)) {
                (format!("{:.1}", covered.dwell_s)) small { "\u{d7}" (covered.visits) }
            }
        }
    })
}

/// Returns how sure each node is, as the newest proposal has it.
fn sure(state: &JobState) -> Markup {
    let Some(entry) = state.fuel_proposals().next_back() else {
        return html! { p.empty { "No proposal says it yet. Compute one: " code { "baytrim propose " (state.id()) } } };
    };
    let proposal = &entry.proposal;
    let later = state
        .pulls
        .iter()
        .filter(|pull| !proposal.pulls.contains(&pull.record.id))
        .count();
    let caption = "Standard error of the estimate, percent of fuel; below it what was measured at the node itself";
    html! {
        p {
            "As " a href=(address::proposal(state.id(), proposal.id)) { "proposal " (proposal.id) } " has it"
            @if later > 0 { "; " (counted(later, "pull")) " are not in it yet" }
            "."
        }
        (grid(&state.spec.axes, caption, &plain_head, &|index| {
            let node = &proposal.nodes[index];
            if is_unvisited(node) {
                return html! { td.none { "\u{b7}" } };
            }
            html! {
                td class=(scale::sure(node.standard_error_percent)) {
                    (format!("{:.1}", node.standard_error_percent))
                    @if is_borrowed(node) { (mark::BORROWED) }
                    small { (format!("{:.0} %", 100.0 * node.measured_fraction)) }
                }
            }
        }))
        div.legend {
            (scale::sure_legend())
            dl.marks {
                div { dt { "\u{b7}" } dd { "never visited" } }
                div { dt { (mark::BORROWED) } dd { "less than half was measured here, the rest is borrowed from neighbours" } }
            }
        }
    }
}
