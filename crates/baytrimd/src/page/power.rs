//! Power and torque of pulls side by side, at standard air.

mod data;
mod table;

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::{Html, Response};
use baytrim_jobs::power_comparison::{PULLS_MAX, PowerComparison, side_by_side};
use baytrim_jobs::{JobState, Refusal, power};
use baytrim_model::ids::PullId;
use baytrim_model::power::PowerStandard;
use maud::{Markup, html};

use super::chart::{self, Shape};
use super::number::signed;
use super::problem::Problem;
use super::read::{self, Page};
use super::traces::Asked;
use super::{address, frame};
use crate::convert::power::CAUTIONS;

/// Shows the page.
pub(super) async fn page(
    State(shop): State<Arc<crate::shop::Shop>>,
    Path(id): Path<String>,
    asked: Asked,
) -> Page {
    let job = read::load_whole(&shop, &id).await?;
    let found = compared(&job.state, &asked)?;
    Ok(Html(render(&job.state, &found).into_string()))
}

/// Returns what the page's chart draws.
pub(super) async fn curves(
    State(shop): State<Arc<crate::shop::Shop>>,
    Path(id): Path<String>,
    asked: Asked,
) -> Result<Response, Problem> {
    let job = read::load_whole(&shop, &id).await?;
    chart::json(&data::of(&compared(&job.state, &asked)?))
}

fn compared<'a>(state: &'a JobState, asked: &Asked) -> Result<PowerComparison<'a>, Refusal> {
    let all = |name: &'static str| {
        let named = asked.0.iter().filter(move |(found, _)| found == name);
        named.map(|(_, value)| value.as_str())
    };
    let pulls = all("pull").map(str::parse::<PullId>);
    let pulls = pulls
        .collect::<Result<Vec<_>, _>>()
        .map_err(|error| Refusal::Fields(vec![error]))?;
    let wanted = all("standard").next();
    let standard = PowerStandard::ALL
        .into_iter()
        .find(|standard| Some(standard.as_str()) == wanted);
    side_by_side(state, &pulls, standard)
}

fn query(found: &PowerComparison<'_>) -> String {
    let pulls = found
        .pulls
        .iter()
        .map(|pull| format!("&pull={}", pull.entry.record.id));
    format!(
        "standard={}{}",
        found.standard.as_str(),
        pulls.collect::<String>()
    )
}

fn render(state: &JobState, found: &PowerComparison<'_>) -> Markup {
    let title = format!("Power of {}", state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let source = format!("{}/curves?{}", address::power(state.id()), query(found));
    let has_curve = found.pulls.iter().any(|pull| !pull.power.points.is_empty());
    let body = html! {
        h1 { "Power and torque at the roller" }
        (address::sections(state.id(), "power"))
        @if found.pulls.is_empty() {
            p.empty { "No pull has a roller in its log: log the roller's speed, and its torque or give its inertia in the job file." }
        } @else {
            form.chosen method="get" action=(address::power(state.id())) { (form(state, found)) }
            @if let Some(change) = &found.change {
                section aria-labelledby="change" {
                    h2 #change { "Engine or day?" }
                    div.headline {
                        p.figure {
                            strong { (signed(100.0 * change.comparison.difference.exp_m1(), 1)) " %" }
                            span { "of power, " (change.after.0.revision) " against " (change.before.0.revision) }
                        }
                        div {
                            @for (place, sentence) in change.sentences.iter().enumerate() {
                                p.lead[place == 0] { (sentence) }
                            }
                        }
                    }
                }
            }
            @if has_curve {
                section aria-labelledby="curves" {
                    h2 #curves { "Curves at the air of " (power::title(found.standard)) }
                    (chart::frame("power", &source, "Power and torque against engine speed; the table below holds the same numbers",
                        "Keys: arrows move from speed to speed, Page Up and Page Down five at a time."))
                    ul.chart-key {
                        @for (index, pull) in found.pulls.iter().enumerate() {
                            li { (chart::shape(Shape::at(index))) "pull " (pull.entry.record.id) ", stage " (pull.entry.stage) ", " (pull.entry.record.revision) " loaded" }
                        }
                    }
                    @if !found.is_corrected {
                        p.quiet { "Drawn as measured: not every pull can be corrected, since pressure or temperature of the bay are not known." }
                    }
                }
            }
            (table::pulls(state, found))
            (table::doubts(found))
            (table::points(found))
            @for caution in CAUTIONS { p.quiet { (caution) } }
        }
    };
    frame::charted(&title, &way, &body)
}

fn form(state: &JobState, found: &PowerComparison<'_>) -> Markup {
    let rolled = state
        .pulls
        .iter()
        .rev()
        .filter(|entry| entry.record.summary.power.is_some());
    html! {
        label.field {
            span { "At the air of" }
            select name="standard" {
                @for standard in PowerStandard::ALL {
                    option value=(standard) selected[standard == found.standard] { (power::title(standard)) }
                }
            }
        }
        fieldset.field {
            legend { "Pulls, " (PULLS_MAX) " at the most" }
            @for entry in rolled {
                @let id = entry.record.id;
                label.tick {
                    input type="checkbox" name="pull" value=(id)
                        checked[found.pulls.iter().any(|pull| pull.entry.record.id == id)];
                    (id) " (" (entry.stage) ", " (entry.record.revision) ")"
                }
            }
        }
        button type="submit" { "Show" }
    }
}
