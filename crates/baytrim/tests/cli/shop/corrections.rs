//! Proposals.

use baytrim_api::v1::correction_service_server::CorrectionService;
use baytrim_api::v1::{
    CreateProposalRequest, CreateProposalResponse, GetDeliveryRequest, GetDeliveryResponse,
    GetProposalRequest, GetProposalResponse, ListProposalsRequest, ListProposalsResponse,
    PlanPullRequest, PlanPullResponse, Proposal, ReproduceProposalRequest,
    ReproduceProposalResponse, TraceNodeRequest, TraceNodeResponse,
};
use tonic::{Request, Response, Status};

use super::Shop;
use crate::answers;

#[tonic::async_trait]
impl CorrectionService for Shop {
    async fn create_proposal(
        &self,
        request: Request<CreateProposalRequest>,
    ) -> Result<Response<CreateProposalResponse>, Status> {
        self.enter(&request).await?;
        let request = request.into_inner();
        let mut proposal = match request.grip_mode.as_str() {
            "" => answers::proposal(),
            _ => answers::grip::grip_proposal(),
        };
        if request.validate_only {
            proposal.name.clear();
        }
        self.with(|seen| seen.proposals.push(request));
        Ok(Response::new(CreateProposalResponse {
            proposal: Some(proposal),
        }))
    }

    async fn get_delivery(
        &self,
        request: Request<GetDeliveryRequest>,
    ) -> Result<Response<GetDeliveryResponse>, Status> {
        self.enter(&request).await?;
        Ok(Response::new(answers::grip::delivery()))
    }

    async fn get_proposal(
        &self,
        request: Request<GetProposalRequest>,
    ) -> Result<Response<GetProposalResponse>, Status> {
        self.enter(&request).await?;
        let name = request.into_inner().name;
        let proposal = Some(Proposal {
            name,
            ..answers::proposal()
        });
        Ok(Response::new(GetProposalResponse { proposal }))
    }

    async fn reproduce_proposal(
        &self,
        request: Request<ReproduceProposalRequest>,
    ) -> Result<Response<ReproduceProposalResponse>, Status> {
        self.enter(&request).await?;
        Ok(Response::new(answers::reproduction()))
    }

    async fn plan_pull(
        &self,
        request: Request<PlanPullRequest>,
    ) -> Result<Response<PlanPullResponse>, Status> {
        self.enter(&request).await?;
        self.with(|seen| seen.plans.push(request.into_inner()));
        let plan = Some(answers::plan());
        Ok(Response::new(PlanPullResponse { plan }))
    }

    async fn trace_node(
        &self,
        request: Request<TraceNodeRequest>,
    ) -> Result<Response<TraceNodeResponse>, Status> {
        self.enter(&request).await?;
        let trace = Some(answers::node_trace());
        Ok(Response::new(TraceNodeResponse { trace }))
    }

    async fn list_proposals(
        &self,
        request: Request<ListProposalsRequest>,
    ) -> Result<Response<ListProposalsResponse>, Status> {
        self.enter(&request).await?;
        let proposals = vec![Proposal {
            nodes: Vec::new(),
            ..answers::proposal()
        }];
        Ok(Response::new(ListProposalsResponse {
            proposals,
            next_page_token: String::new(),
        }))
    }
}
