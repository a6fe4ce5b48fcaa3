//! Verdicts.

use baytrim_api::v1::review_service_server::ReviewService;
use baytrim_api::v1::{
    ApproveProposalRequest, ApproveProposalResponse, Comment, CreateCommentRequest,
    CreateCommentResponse, RejectProposalRequest, RejectProposalResponse,
};
use tonic::{Request, Response, Status};

use super::Shop;
use crate::answers;

#[tonic::async_trait]
impl ReviewService for Shop {
    async fn approve_proposal(
        &self,
        request: Request<ApproveProposalRequest>,
    ) -> Result<Response<ApproveProposalResponse>, Status> {
        self.enter(&request).await?;
        let request = request.into_inner();
        if request.etag != answers::ETAG {
            return Err(Status::aborted("the etag is not the proposal's"));
        }
        let is_stale = request.name.ends_with("/c9");
        self.with(|seen| seen.approvals.push(request));
        if is_stale {
            return Err(Status::failed_precondition(
                "quoll-1/c9 is stale: r2 is in force",
            ));
        }
        let (proposal, revision) = (Some(answers::decided(true)), Some(answers::revision()));
        Ok(Response::new(ApproveProposalResponse {
            proposal,
            revision,
        }))
    }

    async fn reject_proposal(
        &self,
        request: Request<RejectProposalRequest>,
    ) -> Result<Response<RejectProposalResponse>, Status> {
        self.enter(&request).await?;
        self.with(|seen| seen.rejections.push(request.into_inner()));
        Ok(Response::new(RejectProposalResponse {
            proposal: Some(answers::decided(false)),
        }))
    }

    async fn create_comment(
        &self,
        request: Request<CreateCommentRequest>,
    ) -> Result<Response<CreateCommentResponse>, Status> {
        self.enter(&request).await?;
        let request = request.into_inner();
        let node = request.node.filter(|node| node.grip_percent.is_none());
        let comment = Comment {
            text: request.text.clone(),
            rpm: node.map(|node| node.rpm),
            plate_percent: node.map(|node| node.plate_percent),
            grip_percent: request.node.and_then(|node| node.grip_percent),
            ..answers::comment()
        };
        self.with(|seen| seen.comments.push(request));
        Ok(Response::new(CreateCommentResponse {
            comment: Some(comment),
        }))
    }
}
