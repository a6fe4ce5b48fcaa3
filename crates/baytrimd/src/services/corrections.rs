//! Computes proposals and reads them.

use std::sync::Arc;

use baytrim_api::v1::correction_service_server::CorrectionService;
use baytrim_api::v1::{
    CreateProposalRequest, CreateProposalResponse, GetDeliveryRequest, GetDeliveryResponse,
    GetProposalRequest, GetProposalResponse, ListProposalsRequest, ListProposalsResponse,
    PlanPullRequest, PlanPullResponse, ReproduceProposalRequest, ReproduceProposalResponse,
    TraceNodeRequest, TraceNodeResponse,
};
use baytrim_jobs::state::{Outcome, ProposalEntry};
use baytrim_jobs::{Refusal, bay_reading, propose, pull_plan as next};
use baytrim_model::ids::{Actor, ModeName, PullId};
use baytrim_model::proposal::Proposal;
use tonic::{Request, Response, Status};

use super::trace;
use crate::clock;
use crate::compute::{Lane, blocking};
use crate::convert;
use crate::convert::page::Page;
use crate::convert::{grip, name, proposal, pull_plan, reproduction, request};
use crate::fault::{Fault, InternalFault};
use crate::reproduce::reproduce;
use crate::shop::{Author, Decided, Loaded, Shop, stream_of};

/// The correction service.
#[derive(Debug, Clone)]
pub struct Corrections {
    shop: Arc<Shop>,
}

impl Corrections {
    /// Returns the service over `shop`.
    pub fn new(shop: Arc<Shop>) -> Self {
        Self { shop }
    }
}

#[tonic::async_trait]
impl CorrectionService for Corrections {
    async fn create_proposal(
        &self,
        request: Request<CreateProposalRequest>,
    ) -> Result<Response<CreateProposalResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        let lane = Lane::named(&name::parse_job("parent", &request.parent));
        let created = self
            .shop
            .compute()
            .run(lane, move || create(&shop, by, &request));
        Ok(Response::new(created.await?))
    }

    async fn get_delivery(
        &self,
        request: Request<GetDeliveryRequest>,
    ) -> Result<Response<GetDeliveryResponse>, Status> {
        let parsed = name::parse_delivery("name", &request.get_ref().name);
        let id = parsed.map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let found = blocking(move || Ok(grip::modes(&shop.job(&id)?.state)));
        let modes = found.await?;
        Ok(Response::new(GetDeliveryResponse { modes }))
    }

    async fn get_proposal(
        &self,
        request: Request<GetProposalRequest>,
    ) -> Result<Response<GetProposalResponse>, Status> {
        let parsed = name::parse_proposal("name", &request.get_ref().name);
        let (id, number) = parsed.map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let found = blocking(move || {
            let job = shop.job(&id)?;
            Ok(proposal::whole(&job.state, job.state.proposal(number)?))
        });
        let proposal = Some(found.await?);
        Ok(Response::new(GetProposalResponse { proposal }))
    }

    async fn list_proposals(
        &self,
        request: Request<ListProposalsRequest>,
    ) -> Result<Response<ListProposalsResponse>, Status> {
        let request = request.get_ref();
        let id = name::parse_job("parent", &request.parent).map_err(Fault::from)?;
        let list = format!("proposals of {id}");
        let page = Page::parse(&list, request.page_size, &request.page_token);
        let (page, shop) = (page.map_err(Fault::from)?, Arc::clone(&self.shop));
        let job = blocking(move || shop.job(&id)).await?;
        let state = &job.state;
        let key = |entry: &&ProposalEntry| entry.proposal.id.to_string();
        let (entries, next_page_token) = page.cut(state.proposals.iter().rev(), key);
        let proposals = entries.iter().map(|entry| proposal::brief(state, entry));
        Ok(Response::new(ListProposalsResponse {
            proposals: proposals.collect(),
            next_page_token,
        }))
    }

    async fn reproduce_proposal(
        &self,
        request: Request<ReproduceProposalRequest>,
    ) -> Result<Response<ReproduceProposalResponse>, Status> {
        let parsed = name::parse_proposal("name", &request.get_ref().name);
        let (id, number) = parsed.map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let again = self.shop.compute().run(Lane::of(&id), move || {
            let found = reproduce(&**shop.store(), &id, number)?;
            Ok(reproduction::whole(&found))
        });
        Ok(Response::new(again.await?))
    }

    async fn plan_pull(
        &self,
        request: Request<PlanPullRequest>,
    ) -> Result<Response<PlanPullResponse>, Status> {
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        let lane = Lane::named(&name::parse_job("parent", &request.parent));
        let plan = self.shop.compute().run(lane, move || plan(&shop, &request));
        Ok(Response::new(plan.await?))
    }

    async fn trace_node(
        &self,
        request: Request<TraceNodeRequest>,
    ) -> Result<Response<TraceNodeResponse>, Status> {
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        let subject = convert::trace::subject(&request.name);
        let lane = Lane::named(&subject.map(|(id, _)| id));
        let traced = self
            .shop
            .compute()
            .run(lane, move || trace::node(&shop, &request));
        Ok(Response::new(traced.await?))
    }
}

fn plan(shop: &Shop, request: &PlanPullRequest) -> Result<PlanPullResponse, Fault> {
    let id = name::parse_job("parent", &request.parent)?;
    let ask = pull_plan::ask(request)?;
    let excluded = excluded(&request.excluded_pulls)?;
    let job = shop.job(&id)?;
    let pulls = propose::chosen_pulls(&job.state, &excluded)?;
    let evidence = shop.evidence().of_pulls(&**shop.store(), &job, &pulls)?;
    let evidence: Vec<_> = evidence.iter().map(|evidence| &**evidence).collect();
    let next = next::next_pull(&job.state, &evidence, &ask)?;
    let plan = Some(pull_plan::plan(&job.state, &pulls, &next));
    Ok(PlanPullResponse { plan })
}

/// Returns the pulls that a request leaves out.
pub(super) fn excluded(texts: &[String]) -> Result<Vec<PullId>, Refusal> {
    let texts = texts.iter().enumerate();
    texts
        .map(|(index, text)| name::part::<PullId>(&format!("excluded_pulls[{index}]"), text))
        .collect()
}

fn create(
    shop: &Shop,
    by: Actor,
    request: &CreateProposalRequest,
) -> Result<CreateProposalResponse, Fault> {
    let id = name::parse_job("parent", &request.parent)?;
    let author = request::author(by, &request.request_id)?;
    let excluded = excluded(&request.excluded_pulls)?;
    let mode = match request.grip_mode.as_str() {
        "" => None,
        mode => Some(name::part::<ModeName>("grip_mode", mode)?),
    };
    if request.validate_only {
        let job = shop.job(&id)?;
        let computed = compute(shop, &job, mode.as_ref(), &excluded, &author.by)?;
        let proposal = Some(proposal::checked(&job.state, &computed));
        return Ok(CreateProposalResponse { proposal });
    }
    let is_same = |outcome| matches!(outcome, Outcome::Proposal(_));
    // Who waited for another request finds its proposal recorded, and its own answer where it was the same request.
    let decided = shop.claims().alone(&**shop.store(), &stream_of(&id), || {
        shop.decide(&id, &author, &is_same, |job| {
            compute(shop, job, mode.as_ref(), &excluded, &author.by).map(propose::event)
        })
    })?;
    tell_bays(shop, &author.by, &decided);
    let proposal = Some(recorded(&decided)?);
    Ok(CreateProposalResponse { proposal })
}

/// Tells the bays how they read against each other by a proposal that was recorded.
fn tell_bays(shop: &Shop, by: &Actor, decided: &Decided) {
    let (Outcome::Proposal(id), false) = (decided.outcome, decided.is_repeat) else {
        return;
    };
    let state = &decided.job.state;
    let Ok(entry) = state.proposal(id) else {
        return;
    };
    let author = Author {
        by: by.clone(),
        request_id: None,
    };
    for (bay, event) in bay_reading::told(state.id(), &entry.proposal) {
        let told = shop.decide_bay(&bay, &author, &|_| false, |_| Ok(event.clone()));
        if let Err(fault) = told {
            // The proposal is recorded and says it too; only the bay's own page misses it.
            tracing::warn!(%bay, error = %fault, "how a bay reads against others was not kept");
        }
    }
}

fn compute(
    shop: &Shop,
    job: &Loaded,
    mode: Option<&ModeName>,
    excluded: &[PullId],
    by: &Actor,
) -> Result<Proposal, Fault> {
    let (at, valid_s) = (clock::now(), shop.access()?.policy().proposal_valid_s);
    if let Some(mode) = mode {
        let pulls = baytrim_jobs::grip::chosen(&job.state, mode, excluded)?;
        shop.metrics().proposals_computed.inc();
        let state = &job.state;
        return Ok(baytrim_jobs::grip::plan(
            state, mode, &pulls, at, by, valid_s,
        )?);
    }
    let pulls = propose::chosen_pulls(&job.state, excluded)?;
    let evidence = shop.evidence().of_pulls(&**shop.store(), job, &pulls)?;
    let evidence: Vec<_> = evidence.iter().map(|evidence| &**evidence).collect();
    shop.metrics().proposals_computed.inc();
    Ok(propose::plan(
        &job.state, &pulls, &evidence, at, by, valid_s,
    )?)
}

pub(super) fn recorded(decided: &Decided) -> Result<baytrim_api::v1::Proposal, Fault> {
    let Outcome::Proposal(id) = decided.outcome else {
        return Err(InternalFault::Impossible("a proposal was recorded as something else").into());
    };
    let state = &decided.job.state;
    Ok(proposal::whole(state, state.proposal(id)?))
}
