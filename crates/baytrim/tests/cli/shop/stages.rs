//! Stages.

use baytrim_api::v1::stage_service_server::StageService;
use baytrim_api::v1::{
    AssignPullRequest, AssignPullResponse, CompareStagesRequest, CompareStagesResponse,
    CreateStageRequest, CreateStageResponse, ListStagesRequest, ListStagesResponse, Stage,
};
use tonic::{Request, Response, Status};

use super::Shop;
use crate::answers::stages::{comparison, stages};

#[tonic::async_trait]
impl StageService for Shop {
    async fn create_stage(
        &self,
        request: Request<CreateStageRequest>,
    ) -> Result<Response<CreateStageResponse>, Status> {
        self.enter(&request).await?;
        let request = request.into_inner();
        let stage = Some(Stage {
            kind: request.kind,
            notes: request.notes.clone(),
            pulls: Vec::new(),
            ..stages()[1].clone()
        });
        self.with(|seen| seen.stages.push(request));
        Ok(Response::new(CreateStageResponse { stage }))
    }

    async fn list_stages(
        &self,
        request: Request<ListStagesRequest>,
    ) -> Result<Response<ListStagesResponse>, Status> {
        self.enter(&request).await?;
        Ok(Response::new(ListStagesResponse {
            stages: stages(),
            next_page_token: String::new(),
        }))
    }

    async fn assign_pull(
        &self,
        request: Request<AssignPullRequest>,
    ) -> Result<Response<AssignPullResponse>, Status> {
        self.enter(&request).await?;
        let request = request.into_inner();
        self.with(|seen| seen.assignments.push(request));
        let stage = Some(stages()[1].clone());
        Ok(Response::new(AssignPullResponse { stage }))
    }

    async fn compare_stages(
        &self,
        request: Request<CompareStagesRequest>,
    ) -> Result<Response<CompareStagesResponse>, Status> {
        self.enter(&request).await?;
        let comparison = Some(comparison());
        Ok(Response::new(CompareStagesResponse { comparison }))
    }
}
