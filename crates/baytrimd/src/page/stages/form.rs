//! Beginning a stage, closing a job and taking it up again, from the page.

use std::sync::Arc;

use axum::extract::{Form, Path, State};
use axum::response::{IntoResponse as _, Redirect, Response};
use baytrim_jobs::stage::{NOTES_BYTES_MAX, TITLE_BYTES_MAX};
use baytrim_jobs::state::Outcome;
use baytrim_jobs::verdict::REASON_BYTES_MAX;
use baytrim_jobs::{JobState, Refusal, stage, standing};
use baytrim_model::ids::JobId;
use baytrim_model::record::JobEvent;
use baytrim_model::stage::StageKind;
use maud::{Markup, html};

use crate::compute::blocking;
use crate::fault::Fault;
use crate::page::decide::{Fields, field};
use crate::page::problem::{self, Problem};
use crate::page::{address, signed};
use crate::shop::Shop;

use super::{Pair, vehicle};

/// What a form that was refused held, and why it was.
#[derive(Debug, Default)]
pub(super) struct Draft {
    typed: Vec<(String, String)>,
    problem: Option<String>,
}

impl Draft {
    fn value(&self, name: &str) -> &str {
        field(&self.typed, name).unwrap_or_default()
    }
}

/// Leads back to the stages from the address of a form, as on a reload.
pub(in crate::page) async fn back(Path(id): Path<String>) -> Redirect {
    Redirect::to(&format!("/jobs/{id}/stages"))
}

/// Begins a stage.
pub(in crate::page) async fn begin(
    shop: State<Arc<Shop>>,
    id: Path<String>,
    Form(fields): Fields,
) -> Result<Response, Problem> {
    let kind = field(&fields, "kind").unwrap_or_default();
    let kind = StageKind::ALL
        .into_iter()
        .find(|known| known.as_str() == kind);
    let text = |name: &str| field(&fields, name).unwrap_or_default().to_owned();
    let (title, notes) = (text("title"), text("notes"));
    let typed = fields.clone();
    decide(shop, id, typed, move |state| {
        let kind = kind.ok_or_else(|| {
            Refusal::field(
                "kind",
                "is missing",
                "choose what the stage is from the list",
            )
        })?;
        stage::begin(state, kind, &title, &notes, vehicle::asked(&fields)?)
    })
    .await
}

/// Closes a job.
pub(in crate::page) async fn close(
    shop: State<Arc<Shop>>,
    id: Path<String>,
    Form(fields): Fields,
) -> Result<Response, Problem> {
    end(shop, id, &fields, standing::close).await
}

/// Takes a closed job up again.
pub(in crate::page) async fn reopen(
    shop: State<Arc<Shop>>,
    id: Path<String>,
    Form(fields): Fields,
) -> Result<Response, Problem> {
    end(shop, id, &fields, standing::reopen).await
}

/// Records where a job stands from now on, for the reason in the form.
async fn end(
    shop: State<Arc<Shop>>,
    id: Path<String>,
    fields: &[(String, String)],
    plan: fn(&JobState, &str) -> Result<JobEvent, Refusal>,
) -> Result<Response, Problem> {
    let reason = field(fields, "reason").unwrap_or_default().to_owned();
    decide(shop, id, fields.to_vec(), move |state| plan(state, &reason)).await
}

/// Records what `plan` decides on; a refusal leads back to the page with what was typed.
async fn decide(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
    typed: Vec<(String, String)>,
    plan: impl Fn(&JobState) -> Result<JobEvent, Refusal> + Send + 'static,
) -> Result<Response, Problem> {
    let id: JobId = id.parse()?;
    let author = signed::author().map_err(Fault::from)?;
    let (worker, name) = (Arc::clone(&shop), id.clone());
    let decided = blocking(move || {
        let is_same = |_: Outcome| false;
        worker.decide(&name, &author, &is_same, |job| Ok(plan(&job.state)?))
    });
    match decided.await {
        Ok(_) => Ok(Redirect::to(&address::stages(&id)).into_response()),
        Err(Fault::Refused(refusal)) => {
            let draft = Draft {
                typed,
                problem: Some(refusal.to_string()),
            };
            let page = super::shown(&shop, &id.to_string(), &Pair::default(), &draft).await?;
            Ok((problem::status(&refusal), page).into_response())
        }
        Err(fault) => Err(fault.into()),
    }
}

/// Returns the forms.
pub(super) fn sections(state: &JobState, draft: &Draft) -> Markup {
    html! {
        @if let Some(problem) = &draft.problem {
            div.problem role="alert" { p { strong { "Nothing was recorded. " } (problem) } }
        }
        @if signed::may("StageService/CreateStage") { (begin_form(state, draft)) }
        @if signed::may("JobService/CloseJob") { (end_form(state, draft)) }
    }
}

fn begin_form(state: &JobState, draft: &Draft) -> Markup {
    let path = address::stages(state.id());
    html! {
        section.decide aria-labelledby="begin" {
            h2 #begin { "Begin a stage" }
            p { "Pulls belong to it from then on, unless they say otherwise." }
            form method="post" action={ (path) "/begin" } {
                (signed::signs())
                label.field {
                    span { "What it is" }
                    select name="kind" required {
                        option value="" { "choose" }
                        @for kind in StageKind::ALL {
                            option value=(kind.as_str()) selected[draft.value("kind") == kind.as_str()] {
                                @if kind == StageKind::Other { "something else, called as below" } @else { (kind.usual_title()) }
                            }
                        }
                    }
                }
                label.field {
                    span { "What people call it (may be left empty)" }
                    input type="text" name="title" maxlength=(TITLE_BYTES_MAX) value=(draft.value("title"));
                }
                label.field {
                    span { "Which parts, which table (the record keeps it)" }
                    textarea name="notes" rows="2" maxlength=(NOTES_BYTES_MAX) { (draft.value("notes")) }
                }
                (vehicle::inputs(state, &draft.typed))
                div.buttons { button type="submit" { "Begin the stage" } }
            }
        }
    }
}

fn end_form(state: &JobState, draft: &Draft) -> Markup {
    let path = address::stages(state.id());
    let (verb, words, remark) = match &state.closed {
        None => (
            "close",
            "Close the job",
            "Says that the work is finished. Whatever is recorded of the vehicle later takes the job up again.".to_owned(),
        ),
        Some(closed) => (
            "reopen",
            "Take the job up again",
            format!("{} closed it: {}", closed.by, closed.reason),
        ),
    };
    html! {
        section.decide aria-labelledby="end" {
            h2 #end { (words) }
            p { (remark) }
            form method="post" action={ (path) "/" (verb) } {
                (signed::signs())
                label.field {
                    span { "Why (the record keeps it)" }
                    textarea name="reason" rows="2" required maxlength=(REASON_BYTES_MAX) { (draft.value("reason")) }
                }
                div.buttons { button type="submit" { (words) } }
            }
        }
    }
}
