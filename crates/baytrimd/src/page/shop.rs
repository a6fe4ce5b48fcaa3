//! The shop at a glance: jobs by bay, where they stand, whose sensor should be looked at.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Html;
use baytrim_jobs::JobBrief;
use baytrim_jobs::shop_view::{DONE_DAYS_USUAL, days};
use baytrim_jobs::standing::JobStanding;
use baytrim_model::ids::{BayName, UnixMillis};
use maud::{Markup, html};

use super::moment::age;
use super::number::counted;
use super::proposal::node::sentence_case;
use super::read::Page;
use super::{address, frame};
use crate::compute::blocking;
use crate::convert::bay::told;
use crate::shop::Shop;
use crate::shop_view::{Seen, look};

/// Shows the page.
pub(super) async fn page(State(shop): State<Arc<Shop>>) -> Page {
    let seen = blocking(move || look(&shop, DONE_DAYS_USUAL)).await?;
    Ok(Html(render(&seen).into_string()))
}

fn render(seen: &Seen) -> Markup {
    let body = html! {
        h1 { "Shop" }
        (address::house_sections("shop"))
        p.lead { (sentence(seen)) }
        div #live-shop data-live {
            @for (bay, jobs) in &seen.view.bays { (bay_section(seen, bay.as_ref(), jobs)) }
        }
        @if seen.view.older_count > 0 {
            p.quiet { (counted(seen.view.older_count, "job")) " done more than " (DONE_DAYS_USUAL) " days ago." }
        }
        @if seen.is_truncated { p.note { "The shop has more jobs than are shown here." } }
    };
    frame::page("Shop", &[], &body)
}

fn sentence(seen: &Seen) -> String {
    let count = |standing: JobStanding| {
        let jobs = seen.view.bays.values().flatten();
        jobs.filter(|job| job.standing(seen.at) == standing).count()
    };
    format!(
        "{} to review, {} in work, {} waiting, {} done within {DONE_DAYS_USUAL} days.",
        count(JobStanding::InReview),
        count(JobStanding::InWork),
        count(JobStanding::Waiting),
        count(JobStanding::Done)
    )
}

fn bay_section(seen: &Seen, bay: Option<&BayName>, jobs: &[JobBrief]) -> Markup {
    let due = bay.and_then(|bay| seen.due.get(bay)).into_iter().flatten();
    let due: Vec<String> = due.map(|due| sentence_case(&told(due))).collect();
    html! {
        section {
            h2 { @if let Some(bay) = bay { "Bay " (bay) } @else { "Any bay" } }
            @if !due.is_empty() {
                div.cautions role="note" aria-label="Lambda sensor" {
                    strong { "Lambda sensor" }
                    ul { @for sentence in &due { li { (with_code(sentence)) "." } } }
                }
            }
            @if jobs.is_empty() { p.empty { "No job." } } @else { (table(jobs, seen.at)) }
        }
    }
}

/// Returns a sentence with the commands in it, which stand between backticks, set as such.
fn with_code(sentence: &str) -> Markup {
    html! {
        @for (place, part) in sentence.split('`').enumerate() {
            @if place % 2 == 1 { code { (part) } } @else { (part) }
        }
    }
}

fn table(jobs: &[JobBrief], now: UnixMillis) -> Markup {
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Table of jobs" {
            table.list {
                thead { tr {
                    th scope="col" { "job" } th scope="col" { "stands" } th scope="col" { "stage" }
                    th.n scope="col" { "pulls" } th.n scope="col" { "days" } th scope="col" { "last" }
                } }
                tbody {
                    @for job in jobs {
                        @let (at, by) = job.updated();
                        tr {
                            th scope="row" { a href=(address::job(&job.facts.id)) { (job.facts.title) } }
                            td.keep {
                                @let stands = job.standing(now);
                                @if stands == JobStanding::InReview { strong { (standing(stands)) } } @else { (standing(stands)) }
                            }
                            td { (job.stage_title) }
                            td.n { (job.pull_count) }
                            td.n { (days(job, now)) }
                            td { (by) ", " (age(at, now)) }
                        }
                    }
                }
            }
        }
    }
}

fn standing(standing: JobStanding) -> &'static str {
    match standing {
        JobStanding::Waiting => "waiting",
        JobStanding::InWork => "in work",
        JobStanding::InReview => "to review",
        JobStanding::Done => "done",
    }
}
