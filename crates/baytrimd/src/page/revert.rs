//! Putting an earlier revision back in force.

use std::sync::Arc;

use axum::extract::{Form, Path, State};
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use baytrim_jobs::state::Outcome;
use baytrim_jobs::verdict::REASON_BYTES_MAX;
use baytrim_jobs::{JobState, Refusal, revert as plan};
use baytrim_model::ids::{JobId, RevisionId};
use baytrim_model::revision::Revision;
use maud::{Markup, html};

use super::decide::{Fields, field};
use super::problem::{self, Problem};
use super::proposal::decide_form::{Draft, cautions};
use super::{address, read, revision, signed};
use crate::clock;
use crate::compute::blocking;
use crate::fault::{Fault, InternalFault};
use crate::shop::Shop;

/// Leads back to a revision from the address of its form, as on a reload.
pub(super) async fn back(Path((id, number)): Path<(String, String)>) -> Redirect {
    Redirect::to(&format!("/jobs/{id}/revisions/{number}"))
}

/// Puts a revision back in force.
pub(super) async fn revert(
    State(shop): State<Arc<Shop>>,
    Path((id, number)): Path<(String, String)>,
    Form(fields): Fields,
) -> Result<Response, Problem> {
    let id: JobId = id.parse()?;
    let number: RevisionId = number.parse()?;
    match record(&shop, &id, number, &fields).await {
        Ok(new) => Ok(Redirect::to(&address::revision(&id, new)).into_response()),
        Err(Fault::Refused(refusal)) => {
            let state = read::load(&shop, &id.to_string()).await?;
            let draft = Draft {
                reason: field(&fields, "reason").unwrap_or_default().to_owned(),
                comment: String::new(),
                about: String::new(),
                problem: Some(refusal.to_string()),
                grips: None,
            };
            let page = revision::page(&state, state.revision(number)?, &draft);
            Ok((problem::status(&refusal), Html(page.into_string())).into_response())
        }
        Err(fault) => Err(fault.into()),
    }
}

async fn record(
    shop: &Arc<Shop>,
    id: &JobId,
    number: RevisionId,
    fields: &[(String, String)],
) -> Result<RevisionId, Fault> {
    let text = |name: &str| field(fields, name).unwrap_or_default().to_owned();
    let author = signed::author()?;
    let (reason, seen) = (text("reason"), text("head"));
    let (shop, id) = (Arc::clone(shop), id.clone());
    let decided = blocking(move || {
        let is_same = |_: Outcome| false;
        shop.decide(&id, &author, &is_same, |job| {
            unmoved(&job.state, number, &seen)?;
            Ok(plan::event(
                &job.state,
                number,
                &reason,
                clock::now(),
                &author.by,
            )?)
        })
    });
    match decided.await?.outcome {
        Outcome::Reverted(made) => Ok(made),
        _ => Err(InternalFault::Impossible("a revert was recorded as something else").into()),
    }
}

/// Refuses when the table has moved on since the form was shown.
fn unmoved(state: &JobState, number: RevisionId, seen: &str) -> Result<(), Refusal> {
    let Some(head) = state.head_of(&state.revision(number)?.table) else {
        return Ok(());
    };
    if head.id.to_string() == seen {
        return Ok(());
    }
    Err(Refusal::field(
        "the revision in force",
        format!("is {} by now, from {}", head.id, head.created_by),
        format!("look at {} first, then ask again", head.id),
    ))
}

/// Returns the form; nothing on the revision in force.
pub(super) fn form(state: &JobState, revision: &Revision, draft: &Draft) -> Markup {
    if state.is_in_force(revision) {
        return html! {};
    }
    let head = state.head_of(&revision.table);
    let head = head.map_or(revision.id, |head| head.id);
    let path = address::revision(state.id(), revision.id);
    html! {
        section.decide aria-labelledby="back" {
            h2 #back { "Put " (revision.id) " back in force" }
            @if let Some(problem) = &draft.problem {
                div.problem role="alert" { p { strong { "Nothing was recorded. " } (problem) } }
            }
            p {
                "It becomes a new revision after " (head) "; nothing is deleted. "
                a href=(address::compare(state.id(), head, revision.id)) { "See what would change" } "."
            }
            @if revision.table.is_fuel() { (cautions()) } @else { (super::grip::cautions()) }
            form method="post" action={ (path) "/revert" } data-draft=(path) {
                button type="submit" disabled hidden {}
                input type="hidden" name="head" value=(head);
                (signed::signs())
                label.field {
                    span { "Why (the record keeps it)" }
                    textarea name="reason" rows="2" required maxlength=(REASON_BYTES_MAX) { (draft.reason) }
                }
                div.buttons { button type="submit" formaction={ (path) "/revert" } { "Put " (revision.id) " back" } }
            }
        }
    }
}
