//! The pages that only show.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::response::Html;
use baytrim_jobs::{JobBrief, JobState};
use baytrim_ledger::StreamName;
use baytrim_model::ids::{JobId, ProposalId};
use serde::Deserialize;

use super::problem::Problem;
use super::proposal::View;
use super::proposal::aspect::Aspect;
use super::proposal::behind::Behind;
use super::proposal::decide_form::Draft;
use super::proposal::take::Take;
use super::{compare, decide, inbox, job, proposal, pull, revision};
use crate::clock;
use crate::compute::blocking;
use crate::fault::Fault;
use crate::shop::{JOB_PREFIX, Loaded, Shop, job_of};

/// Most jobs on one page of the inbox: those whose folds can be kept in memory if something waits in each.
const JOBS_SHOWN_MAX: usize = crate::limits::FOLDS_CACHED_MAX;

/// A page, or why it can't be shown.
pub(super) type Page = Result<Html<String>, Problem>;

/// Where a page of the inbox begins.
#[derive(Debug, Default, Deserialize)]
pub(super) struct After {
    after: Option<String>,
}

/// Two revisions.
#[derive(Debug, Deserialize)]
pub(super) struct Pair {
    from: String,
    to: String,
}

/// A node, as `rpm:plate`.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Node {
    node: Option<String>,
}

pub(super) async fn inbox(State(shop): State<Arc<Shop>>, Query(after): Query<After>) -> Page {
    let listed = blocking(move || jobs(&shop, after.after.as_deref())).await?;
    let next = listed.next.map(|id| format!("/?after={id}"));
    let page = inbox::page(&listed.jobs, &listed.busy, next.as_deref(), clock::now());
    Ok(Html(page.into_string()))
}

/// Jobs of one page of the inbox.
struct Listed {
    jobs: Vec<JobBrief>,
    /// Those in which something waits, whole.
    busy: Vec<Arc<JobState>>,
    /// The last one, where there are more.
    next: Option<JobId>,
}

fn jobs(shop: &Shop, after: Option<&str>) -> Result<Listed, Fault> {
    let after = after.and_then(|id| StreamName::new(&format!("{JOB_PREFIX}{id}")).ok());
    let mut streams = shop
        .store()
        .streams(JOB_PREFIX, after.as_ref(), JOBS_SHOWN_MAX + 1)?;
    let is_more = streams.len() > JOBS_SHOWN_MAX;
    streams.truncate(JOBS_SHOWN_MAX);
    let (mut jobs, mut busy) = (Vec::with_capacity(streams.len()), Vec::new());
    for (stream, head) in streams {
        let Some(id) = job_of(&stream) else { continue };
        let (brief, _) = shop.brief(&id, &head)?;
        if brief.waiting(clock::now()).next().is_some() {
            busy.push(shop.job(&id)?.state);
        }
        jobs.push(brief);
    }
    let last = jobs.last().filter(|_| is_more);
    let next = last.map(|job| job.facts.id.clone());
    Ok(Listed { jobs, busy, next })
}

/// Tells an open page whether to look again: a number that is another one after each record.
pub(super) async fn changes(State(shop): State<Arc<Shop>>) -> String {
    shop.changes().to_string()
}

/// Returns the job that an address names.
pub(super) async fn load(shop: &Arc<Shop>, id: &str) -> Result<Arc<JobState>, Problem> {
    Ok(load_whole(shop, id).await?.state)
}

/// Returns the job that an address names, with the head of its records.
pub(super) async fn load_whole(shop: &Arc<Shop>, id: &str) -> Result<Loaded, Problem> {
    let id: JobId = id.parse()?;
    let shop = Arc::clone(shop);
    Ok(blocking(move || shop.job(&id)).await?)
}

pub(super) async fn job(State(shop): State<Arc<Shop>>, Path(id): Path<String>) -> Page {
    let state = load(&shop, &id).await?;
    Ok(Html(job::page(&state, clock::now()).into_string()))
}

pub(super) async fn pull(
    State(shop): State<Arc<Shop>>,
    Path((id, number)): Path<(String, String)>,
) -> Page {
    let state = load(&shop, &id).await?;
    let entry = state.pull(number.parse()?)?;
    Ok(Html(pull::page(&state, entry).into_string()))
}

pub(super) async fn revision(
    State(shop): State<Arc<Shop>>,
    Path((id, number)): Path<(String, String)>,
) -> Page {
    let state = load(&shop, &id).await?;
    let revision = state.revision(number.parse()?)?;
    Ok(Html(
        revision::page(&state, revision, &Draft::default()).into_string(),
    ))
}

pub(super) async fn compare(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
    Query(pair): Query<Pair>,
) -> Page {
    let state = load(&shop, &id).await?;
    let (from, to) = (
        state.revision(pair.from.parse()?)?,
        state.revision(pair.to.parse()?)?,
    );
    Ok(Html(compare::page(&state, from, to).into_string()))
}

pub(super) async fn proposal(
    shop: State<Arc<Shop>>,
    Path((id, number)): Path<(String, String)>,
    node: Query<Node>,
) -> Page {
    show(shop, &id, &number, Aspect::Change, None, node).await
}

pub(super) async fn aspect(
    shop: State<Arc<Shop>>,
    Path((id, number, aspect)): Path<(String, String, String)>,
    node: Query<Node>,
) -> Page {
    let aspect = Aspect::find(&aspect).ok_or_else(Problem::no_page)?;
    show(shop, &id, &number, aspect, None, node).await
}

pub(super) async fn chosen(
    shop: State<Arc<Shop>>,
    Path((id, number, aspect, code)): Path<(String, String, String, String)>,
    node: Query<Node>,
) -> Page {
    let aspect = Aspect::find(&aspect).ok_or_else(Problem::no_page)?;
    show(shop, &id, &number, aspect, Some(&code), node).await
}

async fn show(
    State(shop): State<Arc<Shop>>,
    id: &str,
    number: &str,
    aspect: Aspect,
    code: Option<&str>,
    Query(node): Query<Node>,
) -> Page {
    let job = load_whole(&shop, id).await?;
    let state = Arc::clone(&job.state);
    let number: ProposalId = number.parse()?;
    let entry = state.proposal(number)?;
    let mut view = View::first(&state, entry, clock::now());
    if let Some(code) = code.filter(|_| view.is_open()) {
        view.take = Take::from_code(code, &entry.proposal).ok_or_else(Problem::no_page)?;
    }
    view.aspect = match aspect {
        Aspect::Choose if !view.is_open() => Aspect::Change,
        aspect => aspect,
    };
    view.node = node
        .node
        .as_deref()
        .and_then(|text| find_node(&state, text));
    if view.is_open() {
        view.bars = decide::bars(&shop, &state, number).await?;
    }
    if let Some(node) = view.node {
        view.behind = blocking(move || behind(&shop, &job, number, node)).await?;
    }
    Ok(Html(proposal::page(&view).into_string()))
}

/// Returns the readings behind a node of a proposal.
fn behind(
    shop: &Shop,
    job: &Loaded,
    number: ProposalId,
    node: usize,
) -> Result<Vec<Behind>, Fault> {
    let (state, cache) = (&job.state, shop.evidence());
    let proposal = &state.proposal(number)?.proposal;
    let mut found = Vec::new();
    for &pull in &proposal.pulls {
        let pull = state.pull(pull)?;
        let evidence = cache.of_pull(&**shop.store(), job, pull)?;
        found.extend(Behind::of(state, proposal, node, pull, &evidence));
    }
    Ok(found)
}

/// Returns the node that an address names as `rpm:plate`; none where there is none.
pub(super) fn find_node(state: &JobState, text: &str) -> Option<usize> {
    let (rpm, plate_percent) = text.split_once(':')?;
    state
        .spec
        .axes
        .find(rpm.parse().ok()?, plate_percent.parse().ok()?)
}
