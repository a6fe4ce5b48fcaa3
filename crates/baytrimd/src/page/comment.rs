//! Saying something about a proposal, one of its nodes or one of its grips.

use std::sync::Arc;

use axum::extract::{Form, Path, State};
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use baytrim_jobs::state::Outcome;
use baytrim_jobs::{Refusal, comment};
use baytrim_model::ids::{JobId, ProposalId};
use baytrim_model::record::{CommentPlace, NodePlace};

use super::decide::{self, Fields, field};
use super::problem::{self, Problem};
use super::proposal::aspect::Aspect;
use super::proposal::{self, View};
use super::{read, signed};
use crate::clock;
use crate::compute::blocking;
use crate::fault::Fault;
use crate::shop::Shop;

/// Records a comment and leads back to where it was written, with the same choice of changes.
pub(super) async fn comment(
    State(shop): State<Arc<Shop>>,
    Path((id, number)): Path<(String, String)>,
    Form(fields): Fields,
) -> Result<Response, Problem> {
    let state = read::load(&shop, &id).await?;
    let number: ProposalId = number.parse()?;
    let recorded = record(&shop, state.id(), number, &fields).await;
    let state = read::load(&shop, &id).await?;
    let entry = state.proposal(number)?;
    let mut view = View::first(&state, entry, clock::now());
    let aspect = field(&fields, "aspect").and_then(Aspect::find);
    view.aspect = aspect.unwrap_or(Aspect::Change);
    if view.is_open() {
        view.take = decide::take(&state, &entry.proposal, &fields);
    }
    let node = field(&fields, "node").filter(|node| !node.is_empty());
    match recorded {
        Ok(()) => {
            let node = node.filter(|node| read::find_node(&state, node).is_some());
            let node = node.map_or_else(String::new, |node| format!("?node={node}"));
            let back = format!("{}{node}#talk", view.aspect_path(view.aspect));
            Ok(Redirect::to(&back).into_response())
        }
        Err(Fault::Refused(refusal)) => {
            view.node = node.and_then(|node| read::find_node(&state, node));
            view.bars = decide::bars(&shop, &state, number).await?;
            view.draft.comment = field(&fields, "text").unwrap_or_default().to_owned();
            view.draft.about = node.unwrap_or_default().to_owned();
            view.draft.reason = field(&fields, "reason").unwrap_or_default().to_owned();
            view.draft.grips = Some(decide::grips(&fields));
            view.draft.problem = Some(refusal.to_string());
            let page = proposal::page(&view).into_string();
            Ok((problem::status(&refusal), Html(page)).into_response())
        }
        Err(fault) => Err(fault.into()),
    }
}

async fn record(
    shop: &Arc<Shop>,
    job: &JobId,
    number: ProposalId,
    fields: &[(String, String)],
) -> Result<(), Fault> {
    let author = signed::author()?;
    let text = field(fields, "text").unwrap_or_default().to_owned();
    let node = place(field(fields, "node").unwrap_or_default())?;
    let (shop, job) = (Arc::clone(shop), job.clone());
    blocking(move || {
        let is_same = |_: Outcome| false;
        shop.decide(&job, &author, &is_same, |job| {
            Ok(comment::event(&job.state, number, node, &text)?)
        })
    })
    .await?;
    Ok(())
}

/// Returns the place that a form names as `rpm:plate`, or by a grip alone; none where it names the whole proposal.
fn place(text: &str) -> Result<Option<CommentPlace>, Refusal> {
    if text.is_empty() {
        return Ok(None);
    }
    let found = match text.split_once(':') {
        Some((rpm, plate)) => rpm
            .parse()
            .ok()
            .zip(plate.parse().ok())
            .map(|(rpm, plate_percent)| CommentPlace::Node(NodePlace { rpm, plate_percent })),
        None => text
            .parse()
            .ok()
            .map(|grip_percent| CommentPlace::Grip { grip_percent }),
    };
    let wrong = || {
        let problem = format!("{text} is no place in the table");
        Refusal::field("node", problem, "choose it from the list")
    };
    found.map(Some).ok_or_else(wrong)
}
