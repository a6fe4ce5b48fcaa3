//! Opens jobs and reads them.

use std::fmt::Write as _;
use std::sync::Arc;

use baytrim_api::v1::job_service_server::JobService;
use baytrim_api::v1::{
    CloseJobRequest, CloseJobResponse, CreateJobRequest, CreateJobResponse, GetJobRequest,
    GetJobResponse, GetShopViewRequest, GetShopViewResponse, ListJobsRequest, ListJobsResponse,
    RenderJobSheetRequest, RenderJobSheetResponse, ReopenJobRequest, ReopenJobResponse,
};
use baytrim_jobs::state::Outcome;
use baytrim_jobs::{JobState, Refusal, open, standing};
use baytrim_model::ids::{Actor, JobId};
use baytrim_model::record::JobEvent;
use sha2::{Digest as _, Sha256};
use tonic::{Request, Response, Status};

use crate::clock;
use crate::compute::{Lane, blocking};
use crate::convert::page::Page;
use crate::convert::{job, name, request, shop_view as convert};
use crate::fault::Fault;
use crate::sheet;
use crate::shop::{Author, JOB_PREFIX, Shop};
use crate::shop_view;

/// The job service.
#[derive(Debug, Clone)]
pub struct Jobs {
    shop: Arc<Shop>,
}

impl Jobs {
    /// Returns the service over `shop`.
    pub fn new(shop: Arc<Shop>) -> Self {
        Self { shop }
    }
}

#[tonic::async_trait]
impl JobService for Jobs {
    async fn create_job(
        &self,
        request: Request<CreateJobRequest>,
    ) -> Result<Response<CreateJobResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        Ok(Response::new(
            blocking(move || create(&shop, by, request)).await?,
        ))
    }

    async fn get_job(
        &self,
        request: Request<GetJobRequest>,
    ) -> Result<Response<GetJobResponse>, Status> {
        let id = name::parse_job("name", &request.get_ref().name).map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let found = blocking(move || shop.job(&id)).await?;
        let job = Some(job::whole(&found));
        Ok(Response::new(GetJobResponse { job }))
    }

    async fn list_jobs(
        &self,
        request: Request<ListJobsRequest>,
    ) -> Result<Response<ListJobsResponse>, Status> {
        let request = request.get_ref();
        let page = Page::parse("jobs", request.page_size, &request.page_token);
        let (page, shop) = (page.map_err(Fault::from)?, Arc::clone(&self.shop));
        Ok(Response::new(blocking(move || list(&shop, &page)).await?))
    }

    async fn close_job(
        &self,
        request: Request<CloseJobRequest>,
    ) -> Result<Response<CloseJobResponse>, Status> {
        let by = request::actor(&request);
        let (shop, asked) = (Arc::clone(&self.shop), request.into_inner());
        let closed = blocking(move || {
            let author = request::author(by, &asked.request_id)?;
            let (name, reason) = (&asked.name, &asked.reason);
            stand(&shop, name, &author, Outcome::Closed, |state| {
                standing::close(state, reason)
            })
        });
        let job = Some(closed.await?);
        Ok(Response::new(CloseJobResponse { job }))
    }

    async fn reopen_job(
        &self,
        request: Request<ReopenJobRequest>,
    ) -> Result<Response<ReopenJobResponse>, Status> {
        let by = request::actor(&request);
        let (shop, asked) = (Arc::clone(&self.shop), request.into_inner());
        let reopened = blocking(move || {
            let author = request::author(by, &asked.request_id)?;
            let (name, reason) = (&asked.name, &asked.reason);
            stand(&shop, name, &author, Outcome::Reopened, |state| {
                standing::reopen(state, reason)
            })
        });
        let job = Some(reopened.await?);
        Ok(Response::new(ReopenJobResponse { job }))
    }

    async fn get_shop_view(
        &self,
        request: Request<GetShopViewRequest>,
    ) -> Result<Response<GetShopViewResponse>, Status> {
        let days = convert::done_days(request.get_ref().done_days).map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let seen = blocking(move || shop_view::look(&shop, days)).await?;
        Ok(Response::new(convert::view(&seen)))
    }

    async fn render_job_sheet(
        &self,
        request: Request<RenderJobSheetRequest>,
    ) -> Result<Response<RenderJobSheetResponse>, Status> {
        let id = name::parse_job("name", &request.get_ref().name).map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let worker = Arc::clone(&shop);
        let made = shop
            .compute()
            .run(Lane::of(&id), move || render(&worker, &id));
        Ok(Response::new(made.await?))
    }
}

fn create(
    shop: &Shop,
    by: Actor,
    mut request: CreateJobRequest,
) -> Result<CreateJobResponse, Fault> {
    let author = request::author(by, &request.request_id)?;
    let id = match request.job_id.as_str() {
        "" => None,
        id => Some(name::part::<JobId>("job_id", id)?),
    };
    let attachments = job::attachments(&mut request)?;
    let spec = open::read(&request.job_file, &attachments, id)?;
    if request.validate_only {
        if shop.find_job(&spec.id)?.is_some() {
            return Err(Refusal::JobExists(spec.id).into());
        }
        let job = Some(job::checked(&spec, clock::now()));
        return Ok(CreateJobResponse { job });
    }
    let decided = shop.open_job(&spec, &author)?;
    let job = Some(job::whole(&decided.job));
    Ok(CreateJobResponse { job })
}

/// Records where a job stands from now on.
fn stand(
    shop: &Shop,
    name: &str,
    author: &Author,
    outcome: Outcome,
    plan: impl Fn(&JobState) -> Result<JobEvent, Refusal>,
) -> Result<baytrim_api::v1::Job, Fault> {
    let id = name::parse_job("name", name)?;
    let is_same = |found| found == outcome;
    let decided = shop.decide(&id, author, &is_same, |job| Ok(plan(&job.state)?))?;
    Ok(job::whole(&decided.job))
}

fn render(shop: &Shop, id: &JobId) -> Result<RenderJobSheetResponse, Fault> {
    let job = shop.job(id)?;
    let made = sheet::render(&sheet::draw_up(shop, &job)?)?;
    Ok(RenderJobSheetResponse {
        sha256: sha256(&made.bytes),
        media_type: "application/pdf".to_owned(),
        file_name: made.file_name,
        page_count: u32::try_from(made.page_count).unwrap_or(u32::MAX),
        record_count: job.state.record_count(),
        content: made.bytes,
    })
}

fn sha256(bytes: &[u8]) -> String {
    let hash = Sha256::digest(bytes);
    hash.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn list(shop: &Shop, page: &Page) -> Result<ListJobsResponse, Fault> {
    let (listed, next_page_token) = shop.list::<JobId>(JOB_PREFIX, page)?;
    let jobs = listed.iter().map(|(id, head)| {
        let (found, head) = shop.brief(id, head)?;
        Ok(job::brief(&found, &head))
    });
    let jobs = jobs.collect::<Result<Vec<_>, Fault>>()?;
    Ok(ListJobsResponse {
        jobs,
        next_page_token,
    })
}
