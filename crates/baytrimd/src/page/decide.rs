//! The forms: choosing changes, and giving the verdict.

use std::sync::Arc;

use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use baytrim_jobs::state::Outcome;
use baytrim_jobs::verdict::{self, Ask, Choice, Rules};
use baytrim_jobs::{JobState, Refusal};
use baytrim_model::grip::GripChange;
use baytrim_model::ids::{Actor, JobId, ProposalId};
use baytrim_model::proposal::{NodeChange, Proposal};
use baytrim_model::record::JobEvent;

use super::grid::{Line, place};
use super::number::breakpoint;
use super::problem::{self, Problem};
use super::proposal::aspect::Aspect;
use super::proposal::decide_form::{Bars, Draft, choice_of};
use super::proposal::take::{Rule, Take};
use super::proposal::{self, View};
use super::{address, read, signed};
use crate::clock;
use crate::compute::blocking;
use crate::fault::Fault;
use crate::shop::Shop;

/// What a form sent: names may come several times.
pub(super) type Fields = Form<Vec<(String, String)>>;

/// What is decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Verdict {
    Approve,
    Reject,
}

/// Leads back to a proposal from the address of its forms, as on a reload.
pub(super) async fn back(Path((id, number)): Path<(String, String)>) -> Redirect {
    Redirect::to(&format!("/jobs/{id}/proposals/{number}"))
}

/// Takes another choice of changes, and shows it.
pub(super) async fn selection(
    State(shop): State<Arc<Shop>>,
    Path((id, number)): Path<(String, String)>,
    Form(fields): Fields,
) -> Result<Response, Problem> {
    let state = read::load(&shop, &id).await?;
    let number: ProposalId = number.parse()?;
    let entry = state.proposal(number)?;
    let mut view = View::first(&state, entry, clock::now());
    let take = take(&state, &entry.proposal, &fields);
    let node = own_node(&entry.proposal, &fields);
    view.aspect = shown(&fields);
    if let Some(refusal) = no_share(&entry.proposal, &take, &fields) {
        view.bars = bars(&shop, &state, number).await?;
        view.node = node;
        return Ok(refused(view, take, &fields, &refusal));
    }
    view.take = take;
    let node = node.map_or_else(String::new, |node| {
        let (rpm, plate_percent) = state.spec.axes.position(node);
        format!("?node={}:{}#at", breakpoint(rpm), breakpoint(plate_percent))
    });
    let path = format!("{}{node}", view.aspect_path(view.aspect));
    Ok(Redirect::to(&path).into_response())
}

/// Returns the aspect to show: the one that is asked for; the same one where only a node's own share was set.
fn shown(fields: &[(String, String)]) -> Aspect {
    let own = field(fields, "own").and_then(|_| field(fields, "aspect"));
    let asked = field(fields, "to").or(own);
    asked.and_then(Aspect::find).unwrap_or(Aspect::Choose)
}

pub(super) async fn approve(
    shop: State<Arc<Shop>>,
    path: Path<(String, String)>,
    fields: Fields,
) -> Result<Response, Problem> {
    decide(shop, path, fields, Verdict::Approve).await
}

pub(super) async fn reject(
    shop: State<Arc<Shop>>,
    path: Path<(String, String)>,
    fields: Fields,
) -> Result<Response, Problem> {
    decide(shop, path, fields, Verdict::Reject).await
}

async fn decide(
    State(shop): State<Arc<Shop>>,
    Path((id, number)): Path<(String, String)>,
    Form(fields): Fields,
    verdict: Verdict,
) -> Result<Response, Problem> {
    let seen = read::load(&shop, &id).await?;
    let number: ProposalId = number.parse()?;
    let take = take(&seen, &seen.proposal(number)?.proposal, &fields);
    let no_share = no_share(&seen.proposal(number)?.proposal, &take, &fields);
    let recorded = match no_share.filter(|_| verdict == Verdict::Approve) {
        Some(refusal) => Err(Fault::Refused(refusal)),
        None => record(&shop, seen.id(), number, &take, &fields, verdict).await,
    };
    match recorded {
        Ok(()) => Ok(Redirect::to(&address::proposal(seen.id(), number)).into_response()),
        Err(Fault::Refused(refusal)) => {
            let state = read::load(&shop, &id).await?;
            let bars = bars(&shop, &state, number).await?;
            let mut view = View::first(&state, state.proposal(number)?, clock::now());
            view.bars = bars;
            Ok(refused(view, take, &fields, &refusal))
        }
        Err(fault) => Err(fault.into()),
    }
}

async fn record(
    shop: &Arc<Shop>,
    job: &JobId,
    number: ProposalId,
    take: &Take,
    fields: &[(String, String)],
    verdict: Verdict,
) -> Result<(), Fault> {
    let author = signed::author()?;
    let text = |name: &str| field(fields, name).unwrap_or_default().to_owned();
    let (etag, reason) = (text("etag"), text("reason"));
    let (shop, job, take) = (Arc::clone(shop), job.clone(), take.clone());
    let grips = grips(fields);
    blocking(move || {
        let is_same = |_: Outcome| false;
        shop.decide(&job, &author, &is_same, |job| {
            let (etag, reason, by) = (etag.clone(), reason.clone(), author.by.clone());
            let ask = Ask {
                proposal: number,
                etag,
                reason,
                at: clock::now(),
                by,
            };
            shop.by_rules(|rules| Ok(plan(&job.state, &ask, (&take, &grips), verdict, rules)?))
        })
    })
    .await?;
    Ok(())
}

fn plan(
    state: &JobState,
    ask: &Ask,
    (take, grips): (&Take, &[usize]),
    verdict: Verdict,
    rules: &Rules<'_>,
) -> Result<JobEvent, Refusal> {
    if verdict == Verdict::Reject {
        return verdict::reject(state, ask, rules);
    }
    let proposal = &state.proposal(ask.proposal)?.proposal;
    if let Some(grip) = &proposal.grip {
        let choice = grip_choice(grip, grips)?;
        return verdict::approve(state, ask, &choice, rules);
    }
    // To the verdict no nodes mean all of them; to a reviewer who has unticked all, none.
    if take.count() == 0 {
        return Err(Refusal::field(
            "nodes",
            "no change is chosen",
            "choose at least one, or reject the proposal",
        ));
    }
    verdict::approve(state, ask, &choice_of(state, proposal, take), rules)
}

/// Returns the grips that a form has ticked, by their place.
pub(super) fn grips(fields: &[(String, String)]) -> Vec<usize> {
    let ticked = fields.iter().filter(|(name, _)| name == "g");
    ticked.filter_map(|(_, place)| place.parse().ok()).collect()
}

fn grip_choice(grip: &GripChange, grips: &[usize]) -> Result<Choice, Refusal> {
    let rows = grips.iter().filter_map(|&place| grip.rows.get(place));
    let grip_percent: Vec<f64> = rows.map(|row| row.grip_percent).collect();
    if grip_percent.is_empty() {
        return Err(Refusal::field(
            "nodes",
            "no grip is ticked",
            "tick at least one, or reject the proposal",
        ));
    }
    Ok(Choice {
        grip_percent,
        ..Choice::whole()
    })
}

/// Returns the proposal's page again, with why nothing was recorded and with what was written.
fn refused(
    mut view: View<'_>,
    take: Take,
    fields: &[(String, String)],
    refusal: &Refusal,
) -> Response {
    if view.is_open() {
        view.take = take;
    }
    view.draft = Draft {
        reason: field(fields, "reason").unwrap_or_default().to_owned(),
        comment: field(fields, "text").unwrap_or_default().to_owned(),
        about: field(fields, "node").unwrap_or_default().to_owned(),
        problem: Some(refusal.to_string()),
        grips: Some(grips(fields)),
    };
    let status: StatusCode = problem::status(refusal);
    (status, Html(proposal::page(&view).into_string())).into_response()
}

/// Returns what keeps who is signed in from deciding: their role, or that they asked for the proposal themselves.
pub(super) async fn bars(
    shop: &Arc<Shop>,
    state: &Arc<JobState>,
    number: ProposalId,
) -> Result<Bars, Fault> {
    let who = signed::signed_in()?;
    let by = who.caller.member.name.actor();
    let role = |method| who.check(method).err().map(|fault| fault.to_string());
    let reject = role("ReviewService/RejectProposal");
    let approve = role("ReviewService/ApproveProposal");
    let (shop, state) = (Arc::clone(shop), Arc::clone(state));
    let hands = blocking(move || shop.by_rules(|rules| Ok(hands(&state, number, by, rules))));
    let approve = match approve {
        Some(words) => Some(words),
        None => hands.await?.map(|refusal| refusal.to_string()),
    };
    Ok(Bars { approve, reject })
}

/// Returns why `by` may not approve a proposal whatever they take of it; none where another rule comes first.
fn hands(state: &JobState, number: ProposalId, by: Actor, rules: &Rules<'_>) -> Option<Refusal> {
    let ask = Ask {
        proposal: number,
        etag: verdict::etag(&state.proposal(number).ok()?.proposal),
        reason: "asked only".to_owned(),
        at: clock::now(),
        by,
    };
    let refusal = verdict::approve(state, &ask, &Choice::whole(), rules).err()?;
    matches!(
        refusal,
        Refusal::SameHand { .. } | Refusal::HandUnknown { .. }
    )
    .then_some(refusal)
}

/// Refuses a share that is none, rather than take another one than was meant; and a share of a change that is left out.
fn no_share(proposal: &Proposal, take: &Take, fields: &[(String, String)]) -> Option<Refusal> {
    let share = |name| field(fields, name).filter(|text| Take::share_of(text).is_none());
    if field(fields, "own") == Some("leave") {
        return None;
    }
    let own = share("own-share").filter(|text| !text.trim().is_empty());
    if let Some(text) = share("share").or(own) {
        return Some(Refusal::field(
            "share_percent",
            format!("{text:?} is no share of a change"),
            "take 1 to 100 percent, in whole numbers",
        ));
    }
    let node = own_node(proposal, fields).filter(|&node| !take.has(node))?;
    let text = field(fields, "own-share").filter(|text| !text.trim().is_empty())?;
    let NodeChange {
        rpm, plate_percent, ..
    } = proposal.nodes[node];
    Some(Refusal::field(
        "nodes",
        format!(
            "{text} % is written for {}, which is left out",
            place(rpm, plate_percent)
        ),
        "press \"Take it\" there, or empty its field",
    ))
}

/// Returns the node whose own share a form may set.
fn own_node(proposal: &Proposal, fields: &[(String, String)]) -> Option<usize> {
    let node: usize = field(fields, "own-node")?.parse().ok()?;
    (node < proposal.nodes.len()).then_some(node)
}

pub(super) fn take(state: &JobState, proposal: &Proposal, fields: &[(String, String)]) -> Take {
    let mut take = if field(fields, "boxes").is_some() {
        let ticked = fields.iter().filter(|(name, _)| name == "n");
        let nodes: Vec<usize> = ticked.filter_map(|(_, node)| node.parse().ok()).collect();
        Take::of(&nodes, proposal)
    } else {
        let code = field(fields, "take").and_then(|code| Take::from_code(code, proposal));
        code.unwrap_or_else(|| Take::by(Rule::None, proposal))
    };
    if let Some(rule) = Rule::ALL
        .into_iter()
        .find(|rule| field(fields, "rule") == Some(rule.as_str()))
    {
        take = Take::by(rule, proposal);
    }
    if let Some(line) = field(fields, "toggle").and_then(|text| line(state, text)) {
        take.toggle(&line.nodes(&state.spec.axes), proposal);
    }
    if let Some(share) = field(fields, "share").and_then(Take::share_of) {
        take = take.with_share(share);
    }
    let others = field(fields, "own-shares").unwrap_or_default();
    let take = take.clone().with_own_code(others).unwrap_or(take);
    with_own(take, proposal, fields)
}

/// Returns `take` with what a form says of one node.
fn with_own(mut take: Take, proposal: &Proposal, fields: &[(String, String)]) -> Take {
    let Some(node) = own_node(proposal, fields) else {
        return take;
    };
    let text = field(fields, "own-share").unwrap_or_default();
    let share = Take::share_of(text);
    let is_none = share.is_none() && !text.trim().is_empty();
    match field(fields, "own") {
        Some("leave") => take.set(node, false, proposal),
        _ if is_none => return take,
        Some("take") => take.set(node, true, proposal),
        _ => {}
    }
    take.with_own(node, share)
}

fn line(state: &JobState, text: &str) -> Option<Line> {
    let axes = &state.spec.axes;
    let (kind, index) = text.split_once(':')?;
    let index: usize = index.parse().ok()?;
    match kind {
        "rpm" if index < axes.rpm.len() => Some(Line::Rpm(index)),
        "plate" if index < axes.plate_percent.len() => Some(Line::Plate(index)),
        _ => None,
    }
}

pub(super) fn field<'a>(fields: &'a [(String, String)], name: &str) -> Option<&'a str> {
    fields
        .iter()
        .find(|(found, _)| found == name)
        .map(|(_, value)| value.as_str())
}
