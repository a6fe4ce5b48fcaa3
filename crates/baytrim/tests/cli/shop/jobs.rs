//! Jobs.

use baytrim_api::v1::job_service_server::JobService;
use baytrim_api::v1::{
    CloseJobRequest, CloseJobResponse, CreateJobRequest, CreateJobResponse, GetJobRequest,
    GetJobResponse, GetShopViewRequest, GetShopViewResponse, Job, JobStanding, ListJobsRequest,
    ListJobsResponse, RenderJobSheetRequest, RenderJobSheetResponse, ReopenJobRequest,
    ReopenJobResponse,
};
use tonic::{Code, Request, Response, Status};
use tonic_types::{ErrorDetails, StatusExt as _};

use super::Shop;
use crate::answers;

#[tonic::async_trait]
impl JobService for Shop {
    async fn create_job(
        &self,
        request: Request<CreateJobRequest>,
    ) -> Result<Response<CreateJobResponse>, Status> {
        self.enter(&request).await?;
        let request = request.into_inner();
        let is_bad = request.job_file.contains("strokes = 3");
        self.with(|seen| seen.jobs.push(request));
        if is_bad {
            let mut details = ErrorDetails::new();
            details.set_error_info(
                "JOB_FILE",
                "baytrim",
                [("file".to_owned(), "job".to_owned())],
            );
            details
                .add_bad_request_violation("engine.strokes", "3 is no working cycle; write 2 or 4");
            let message = "the job file has 1 fault";
            return Err(Status::with_error_details(
                Code::InvalidArgument,
                message,
                details,
            ));
        }
        Ok(Response::new(CreateJobResponse {
            job: Some(answers::job()),
        }))
    }

    async fn get_job(
        &self,
        request: Request<GetJobRequest>,
    ) -> Result<Response<GetJobResponse>, Status> {
        self.enter(&request).await?;
        if request.get_ref().name != "jobs/quoll-1" {
            return Err(Status::not_found("the shop has no such job"));
        }
        Ok(Response::new(GetJobResponse {
            job: Some(answers::job()),
        }))
    }

    async fn close_job(
        &self,
        request: Request<CloseJobRequest>,
    ) -> Result<Response<CloseJobResponse>, Status> {
        self.enter(&request).await?;
        self.with(|seen| seen.closings.push(request.into_inner()));
        let job = Some(Job {
            standing: JobStanding::Done.into(),
            ..answers::job()
        });
        Ok(Response::new(CloseJobResponse { job }))
    }

    async fn reopen_job(
        &self,
        request: Request<ReopenJobRequest>,
    ) -> Result<Response<ReopenJobResponse>, Status> {
        self.enter(&request).await?;
        let job = Some(answers::job());
        Ok(Response::new(ReopenJobResponse { job }))
    }

    async fn get_shop_view(
        &self,
        request: Request<GetShopViewRequest>,
    ) -> Result<Response<GetShopViewResponse>, Status> {
        self.enter(&request).await?;
        Ok(Response::new(answers::stages::shop_view()))
    }

    async fn render_job_sheet(
        &self,
        request: Request<RenderJobSheetRequest>,
    ) -> Result<Response<RenderJobSheetResponse>, Status> {
        self.enter(&request).await?;
        Ok(Response::new(RenderJobSheetResponse {
            content: b"%PDF-1.7 a sheet".to_vec(),
            file_name: "quoll-1-job-sheet.pdf".to_owned(),
            media_type: "application/pdf".to_owned(),
            sha256: "5e".repeat(32),
            page_count: 2,
            record_count: 17,
        }))
    }

    /// Three pages of one job each.
    async fn list_jobs(
        &self,
        request: Request<ListJobsRequest>,
    ) -> Result<Response<ListJobsResponse>, Status> {
        self.enter(&request).await?;
        let token = request.into_inner().page_token;
        let page: usize = token.parse().unwrap_or(0);
        self.with(|seen| seen.page_tokens.push(token));
        let name = format!("jobs/quoll-{}", page + 1);
        let next_page_token = if page < 2 {
            (page + 1).to_string()
        } else {
            String::new()
        };
        let jobs = vec![Job {
            name,
            ..answers::job()
        }];
        Ok(Response::new(ListJobsResponse {
            jobs,
            next_page_token,
        }))
    }
}
