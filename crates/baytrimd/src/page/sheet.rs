//! The job sheet as a page that prints, and as a file.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{Html, IntoResponse as _, Response};
use baytrim_jobs::JobState;
use baytrim_jobs::propose::CAUTIONS;
use maud::{Markup, html};

use super::grid::{grid, plain_head};
use super::moment::moment;
use super::number::{fixed, signed};
use super::problem::Problem;
use super::read::{self, Page};
use super::{address, frame, scale};
use crate::compute::{Lane, blocking};
use crate::sheet::{self, Maps, Sheet};
use crate::shop::{Loaded, Shop};

/// Shows the sheet.
pub(super) async fn page(State(shop): State<Arc<Shop>>, Path(id): Path<String>) -> Page {
    let job = read::load_whole(&shop, &id).await?;
    let state = Arc::clone(&job.state);
    let sheet = drawn_up(&shop, job).await?;
    Ok(Html(render(&state, &sheet).into_string()))
}

/// Returns the sheet as PDF.
pub(super) async fn file(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let job = read::load_whole(&shop, &id).await?;
    let sheet = drawn_up(&shop, job).await?;
    let made = blocking(move || Ok(sheet::render(&sheet)?)).await?;
    let headers = [
        (CONTENT_TYPE, "application/pdf".to_owned()),
        (
            CONTENT_DISPOSITION,
            format!("inline; filename=\"{}\"", made.file_name),
        ),
    ];
    Ok((headers, made.bytes).into_response())
}

/// Returns the sheet of a job; its stages are compared where heavy work is done.
async fn drawn_up(shop: &Arc<Shop>, job: Loaded) -> Result<Sheet, Problem> {
    let worker = Arc::clone(shop);
    Ok(shop
        .compute()
        .run(Lane::of(job.state.id()), move || {
            sheet::draw_up(&worker, &job)
        })
        .await?)
}

fn render(state: &JobState, sheet: &Sheet) -> Markup {
    let title = format!("Job sheet of {}", sheet.title);
    let way = [(sheet.title.clone(), address::job(state.id()))];
    let body = html! {
        h1 { (sheet.title) }
        p.quiet { "Job sheet of " code { (sheet.job) } ", as of " (moment(sheet.at)) }
        (address::sections(state.id(), "sheet"))
        p.no-print {
            a.button href={ (address::sheet(state.id())) ".pdf" } { "As PDF" }
            " From a terminal: " code { "baytrim job sheet " (state.id()) " --output " (state.id()) ".pdf" }
        }
        article.sheet {
            @if !sheet.notes.is_empty() { p.notes { (sheet.notes) } }
            dl.facts { @for (name, value) in &sheet.facts { div { dt { (name) } dd { (value) } } } }
            h2 { "What came in" }
            @for said in &sheet.came_in { p { (said) } }
            h2 { "What was done" }
            (steps(sheet))
            h2 { "How it is now" }
            @for said in &sheet.now { p { (said) } }
            @if !sheet.stages.is_empty() {
                h2 { "From stage to stage" }
                @for said in &sheet.stages { p { (said) } }
            }
            @if let Some(maps) = &sheet.maps { (pictures(state, maps)) }
            (table(sheet))
            h2 { "What it holds for" }
            ul.reasons { @for said in &sheet.conditions { li { (said) } } }
            div.cautions role="note" aria-label="Caution" {
                strong { "Caution" }
                ul { @for caution in CAUTIONS { li { (caution) } } }
            }
            div.signatures {
                p { "For the shop: name, date, signature" }
                p { "Customer: name, date, signature" }
            }
        }
    };
    frame::page(&title, &way, &body)
}

fn steps(sheet: &Sheet) -> Markup {
    html! {
        @if sheet.steps.is_empty() { p { "No table was approved." } }
        @if sheet.untold > 0 { p.quiet { (sheet.untold) " earlier steps are in the record." } }
        @for step in &sheet.steps {
            p { strong { (step.what) } br; (step.by) ", " (moment(step.at)) ": " (step.why) }
        }
    }
}

fn pictures(state: &JobState, maps: &Maps) -> Markup {
    let map = |caption: &str, map: &[Option<f64>]| {
        grid(&state.spec.axes, caption, &plain_head, &|node| {
            html! {
                @match map[node] {
                    Some(percent) => td class=(scale::change(percent)) { (signed(percent, 1)) },
                    None => td.none { "\u{b7}" },
                }
            }
        })
    };
    html! {
        h2 { "Before and after" }
        p {
            "Engine speed runs across, throttle opening down. 0 is right. Plus means that fuel was lacking there (too lean), "
            "minus that there was too much (too rich), in percent."
        }
        (map("Before: with the table that came", &maps.before))
        (map("After: with the table handed over", &maps.after))
        div.legend {
            (scale::change_legend("too much", "lacking"))
            dl.marks { div { dt { "\u{b7}" } dd { "the engine has not been there" } } }
        }
    }
}

fn table(sheet: &Sheet) -> Markup {
    let table = &sheet.table;
    let caption = format!(
        "{}: values; colour and below: change from the table that came, percent",
        table.revision
    );
    html! {
        h2 { "The table handed over" }
        (grid(&table.axes, &caption, &plain_head, &|node| {
            let percent = table.change_percent[node];
            html! {
                td class=(scale::change(percent)) {
                    (fixed(table.values[node], table.decimals)) small { (signed(percent, 1)) }
                }
            }
        }))
        dl.facts.seals { @for (name, value) in &sheet.seals { div { dt { (name) } dd { (value) } } } }
    }
}
