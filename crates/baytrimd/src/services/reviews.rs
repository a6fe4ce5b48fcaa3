//! Records verdicts.

use std::sync::Arc;

use baytrim_api::v1::review_service_server::ReviewService;
use baytrim_api::v1::{
    ApproveProposalRequest, ApproveProposalResponse, CreateCommentRequest, CreateCommentResponse,
    RejectProposalRequest, RejectProposalResponse,
};
use baytrim_jobs::comment;
use baytrim_jobs::state::Outcome;
use baytrim_jobs::verdict::{self, Ask, Choice, NodeChoice};
use baytrim_model::ids::{Actor, ProposalId};
use baytrim_model::record::{CommentPlace, NodePlace};
use tonic::{Request, Response, Status};

use crate::clock;
use crate::compute::blocking;
use crate::convert::{name, proposal, request, revision};
use crate::fault::{Fault, InternalFault};
use crate::shop::Shop;

/// The review service.
#[derive(Debug, Clone)]
pub struct Reviews {
    shop: Arc<Shop>,
}

impl Reviews {
    /// Returns the service over `shop`.
    pub fn new(shop: Arc<Shop>) -> Self {
        Self { shop }
    }
}

#[tonic::async_trait]
impl ReviewService for Reviews {
    async fn approve_proposal(
        &self,
        request: Request<ApproveProposalRequest>,
    ) -> Result<Response<ApproveProposalResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        Ok(Response::new(
            blocking(move || approve(&shop, by, &request)).await?,
        ))
    }

    async fn reject_proposal(
        &self,
        request: Request<RejectProposalRequest>,
    ) -> Result<Response<RejectProposalResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        Ok(Response::new(
            blocking(move || reject(&shop, by, &request)).await?,
        ))
    }

    async fn create_comment(
        &self,
        request: Request<CreateCommentRequest>,
    ) -> Result<Response<CreateCommentResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        Ok(Response::new(
            blocking(move || create_comment(&shop, by, &request)).await?,
        ))
    }
}

fn create_comment(
    shop: &Shop,
    by: Actor,
    request: &CreateCommentRequest,
) -> Result<CreateCommentResponse, Fault> {
    let (id, proposal) = name::parse_proposal("parent", &request.parent)?;
    let author = request::author(by, &request.request_id)?;
    let node = request.node.map(|node| match node.grip_percent {
        Some(grip_percent) => CommentPlace::Grip { grip_percent },
        None => CommentPlace::Node(NodePlace {
            rpm: node.rpm,
            plate_percent: node.plate_percent,
        }),
    });
    let is_same = |outcome| matches!(outcome, Outcome::Commented(on, _) if on == proposal);
    let decided = shop.decide(&id, &author, &is_same, |job| {
        Ok(comment::event(&job.state, proposal, node, &request.text)?)
    })?;
    let Outcome::Commented(_, number) = decided.outcome else {
        return Err(InternalFault::Impossible("a comment was recorded as something else").into());
    };
    let made = proposal::comments(decided.job.state.proposal(proposal)?);
    let comment = made.into_iter().find(|comment| comment.number == number);
    Ok(CreateCommentResponse { comment })
}

fn approve(
    shop: &Shop,
    by: Actor,
    request: &ApproveProposalRequest,
) -> Result<ApproveProposalResponse, Fault> {
    let (id, number) = name::parse_proposal("name", &request.name)?;
    let author = request::author(by, &request.request_id)?;
    let choice = choice(request);
    let is_same = |outcome| outcome == Outcome::Approved(number);
    let decided = shop.decide(&id, &author, &is_same, |job| {
        let ask = ask(number, &request.etag, &request.reason, &author.by);
        shop.by_rules(|rules| Ok(verdict::approve(&job.state, &ask, &choice, rules)?))
    })?;
    let state = &decided.job.state;
    let entry = state.proposal(number)?;
    let verdict = entry
        .verdict
        .as_ref()
        .and_then(|verdict| verdict.approved.as_ref());
    let (made, _) = verdict.ok_or(InternalFault::Impossible("an approval made no revision"))?;
    Ok(ApproveProposalResponse {
        proposal: Some(proposal::brief(state, entry)),
        revision: Some(revision::whole(state, state.revision(*made)?)),
    })
}

fn reject(
    shop: &Shop,
    by: Actor,
    request: &RejectProposalRequest,
) -> Result<RejectProposalResponse, Fault> {
    let (id, number) = name::parse_proposal("name", &request.name)?;
    let author = request::author(by, &request.request_id)?;
    let is_same = |outcome| outcome == Outcome::Rejected(number);
    let decided = shop.decide(&id, &author, &is_same, |job| {
        let ask = ask(number, &request.etag, &request.reason, &author.by);
        shop.by_rules(|rules| Ok(verdict::reject(&job.state, &ask, rules)?))
    })?;
    let state = &decided.job.state;
    let proposal = Some(proposal::brief(state, state.proposal(number)?));
    Ok(RejectProposalResponse { proposal })
}

fn choice(request: &ApproveProposalRequest) -> Choice {
    let grips = request.nodes.iter().filter_map(|node| node.grip_percent);
    let is_node = |node: &&baytrim_api::v1::NodeRef| node.grip_percent.is_none();
    let nodes = request.nodes.iter().filter(is_node).map(|node| NodeChoice {
        rpm: node.rpm,
        plate_percent: node.plate_percent,
        value: node.after,
    });
    Choice {
        nodes: nodes.collect(),
        grip_percent: grips.collect(),
        share_percent: match request.share_percent {
            0.0 => 100.0,
            share_percent => share_percent,
        },
    }
}

fn ask(proposal: ProposalId, etag: &str, reason: &str, by: &Actor) -> Ask {
    Ask {
        proposal,
        etag: etag.to_owned(),
        reason: reason.to_owned(),
        at: clock::now(),
        by: by.clone(),
    }
}
