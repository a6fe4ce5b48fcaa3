//! Shows what the shop's jobs teach, and starts a job from them.

use std::sync::Arc;

use baytrim_api::v1::library_service_server::LibraryService;
use baytrim_api::v1::{
    CreateStartingTableRequest, CreateStartingTableResponse, FindNearestRequest,
    FindNearestResponse, ListLibraryRequest, ListLibraryResponse,
};
use baytrim_jobs::propose;
use baytrim_jobs::state::Outcome;
use baytrim_model::ids::{Actor, JobId};
use tonic::{Request, Response, Status};

use super::corrections::recorded;
use crate::compute::{Lane, blocking};
use crate::convert::page::Page;
use crate::convert::{job, library as convert, name, proposal, request};
use crate::fault::Fault;
use crate::library;
use crate::limits::NEAREST_MAX;
use crate::shop::{JOB_PREFIX, Shop, stream_of};

/// The library service.
#[derive(Debug, Clone)]
pub struct Library {
    shop: Arc<Shop>,
}

impl Library {
    /// Returns the service over `shop`.
    pub fn new(shop: Arc<Shop>) -> Self {
        Self { shop }
    }
}

#[tonic::async_trait]
impl LibraryService for Library {
    async fn list_library(
        &self,
        request: Request<ListLibraryRequest>,
    ) -> Result<Response<ListLibraryResponse>, Status> {
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        let page = Page::parse("library", request.page_size, &request.page_token);
        let page = page.map_err(Fault::from)?;
        let answer = blocking(move || {
            let (ids, next_page_token) = shop.list::<JobId>(JOB_PREFIX, &page)?;
            let mut entries = Vec::new();
            for (id, _) in &ids {
                entries.extend(library::entry(&shop, id)?.as_ref().map(convert::entry));
            }
            Ok(ListLibraryResponse {
                entries,
                next_page_token,
            })
        });
        Ok(Response::new(answer.await?))
    }

    async fn find_nearest(
        &self,
        request: Request<FindNearestRequest>,
    ) -> Result<Response<FindNearestResponse>, Status> {
        let id = name::parse_job("parent", &request.get_ref().parent).map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let answer = self.shop.compute().run(Lane::of(&id), move || {
            let here = shop.job(&id)?;
            let found = library::nearest(&shop, &here)?;
            Ok(FindNearestResponse {
                entries: found.iter().take(NEAREST_MAX).map(convert::near).collect(),
                vehicle: here.state.spec.vehicle.as_ref().map(job::vehicle),
            })
        });
        Ok(Response::new(answer.await?))
    }

    async fn create_starting_table(
        &self,
        request: Request<CreateStartingTableRequest>,
    ) -> Result<Response<CreateStartingTableResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        let lane = Lane::named(&name::parse_job("parent", &request.parent));
        let made = self
            .shop
            .compute()
            .run(lane, move || create(&shop, by, &request));
        let proposal = Some(made.await?);
        Ok(Response::new(CreateStartingTableResponse { proposal }))
    }
}

fn create(
    shop: &Shop,
    by: Actor,
    request: &CreateStartingTableRequest,
) -> Result<baytrim_api::v1::Proposal, Fault> {
    let id = name::parse_job("parent", &request.parent)?;
    let author = request::author(by, &request.request_id)?;
    let from = convert::from_jobs(&request.from_jobs)?;
    if request.validate_only {
        let job = shop.job(&id)?;
        let computed = library::start(shop, &job, &from, &author.by)?;
        return Ok(proposal::checked(&job.state, &computed));
    }
    let is_same = |outcome| matches!(outcome, Outcome::Proposal(_));
    let decided = shop.claims().alone(&**shop.store(), &stream_of(&id), || {
        shop.decide(&id, &author, &is_same, |job| {
            library::start(shop, job, &from, &author.by).map(propose::event)
        })
    })?;
    recorded(&decided)
}
