//! Keeps the stages of a job and compares them.

use std::sync::Arc;

use baytrim_api::v1::stage_service_server::StageService;
use baytrim_api::v1::{
    AssignPullRequest, AssignPullResponse, CompareStagesRequest, CompareStagesResponse,
    CreateStageRequest, CreateStageResponse, ListStagesRequest, ListStagesResponse,
};
use baytrim_jobs::stage;
use baytrim_jobs::state::{Outcome, StageEntry};
use baytrim_model::ids::{Actor, StageId};
use tonic::{Request, Response, Status};

use crate::compute::{Lane, blocking};
use crate::convert::page::Page;
use crate::convert::{name, request, stage as convert, vehicle};
use crate::fault::{Fault, InternalFault};
use crate::shop::Shop;
use crate::stages::compare;

/// The stage service.
#[derive(Debug, Clone)]
pub struct Stages {
    shop: Arc<Shop>,
}

impl Stages {
    /// Returns the service over `shop`.
    pub fn new(shop: Arc<Shop>) -> Self {
        Self { shop }
    }
}

#[tonic::async_trait]
impl StageService for Stages {
    async fn create_stage(
        &self,
        request: Request<CreateStageRequest>,
    ) -> Result<Response<CreateStageResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        let stage = Some(blocking(move || begin(&shop, by, &request)).await?);
        Ok(Response::new(CreateStageResponse { stage }))
    }

    async fn list_stages(
        &self,
        request: Request<ListStagesRequest>,
    ) -> Result<Response<ListStagesResponse>, Status> {
        let request = request.get_ref();
        let id = name::parse_job("parent", &request.parent).map_err(Fault::from)?;
        let list = format!("stages of {id}");
        let page = Page::parse(&list, request.page_size, &request.page_token);
        let (page, shop) = (page.map_err(Fault::from)?, Arc::clone(&self.shop));
        let state = blocking(move || shop.job(&id)).await?.state;
        let key = |entry: &&StageEntry| entry.stage.id.to_string();
        let (stages, next_page_token) = page.cut(state.stages.iter(), key);
        let stages = stages
            .into_iter()
            .map(|entry| convert::stage(&state, entry));
        Ok(Response::new(ListStagesResponse {
            stages: stages.collect(),
            next_page_token,
        }))
    }

    async fn assign_pull(
        &self,
        request: Request<AssignPullRequest>,
    ) -> Result<Response<AssignPullResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        let stage = Some(blocking(move || assign(&shop, by, &request)).await?);
        Ok(Response::new(AssignPullResponse { stage }))
    }

    async fn compare_stages(
        &self,
        request: Request<CompareStagesRequest>,
    ) -> Result<Response<CompareStagesResponse>, Status> {
        let request = request.get_ref();
        let id = name::parse_job("parent", &request.parent).map_err(Fault::from)?;
        let from = name::part::<StageId>("from_stage", &request.from_stage).map_err(Fault::from)?;
        let to = name::part::<StageId>("to_stage", &request.to_stage).map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let worker = Arc::clone(&shop);
        let compared = shop.compute().run(Lane::of(&id), move || {
            let job = worker.job(&id)?;
            let found = compare(&worker, &job, from, to)?;
            Ok(convert::comparison(&job.state, &found)?)
        });
        let comparison = Some(compared.await?);
        Ok(Response::new(CompareStagesResponse { comparison }))
    }
}

fn begin(
    shop: &Shop,
    by: Actor,
    request: &CreateStageRequest,
) -> Result<baytrim_api::v1::Stage, Fault> {
    let id = name::parse_job("parent", &request.parent)?;
    let author = request::author(by, &request.request_id)?;
    let kind = convert::parse_kind(request.kind)?;
    let vehicle = vehicle::asked(request.vehicle.as_ref())?;
    let is_same = |outcome| matches!(outcome, Outcome::StageBegun(_));
    let decided = shop.decide(&id, &author, &is_same, |job| {
        Ok(stage::begin(
            &job.state,
            kind,
            &request.title,
            &request.notes,
            vehicle,
        )?)
    })?;
    let Outcome::StageBegun(begun) = decided.outcome else {
        return Err(InternalFault::Impossible("a stage was recorded as something else").into());
    };
    let state = &decided.job.state;
    Ok(convert::stage(state, state.stage_of(begun)?))
}

fn assign(
    shop: &Shop,
    by: Actor,
    request: &AssignPullRequest,
) -> Result<baytrim_api::v1::Stage, Fault> {
    let (id, pull) = name::parse_pull("name", &request.name)?;
    let author = request::author(by, &request.request_id)?;
    let to = name::part::<StageId>("stage", &request.stage)?;
    let is_same = |outcome| outcome == Outcome::Assigned(pull);
    let decided = shop.decide(&id, &author, &is_same, |job| {
        Ok(stage::assign(&job.state, pull, to, &request.reason)?)
    })?;
    let state = &decided.job.state;
    let now = state.pull(pull)?.stage;
    Ok(convert::stage(state, state.stage_of(now)?))
}
