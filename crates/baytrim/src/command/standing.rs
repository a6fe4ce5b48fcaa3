//! `baytrim job close`, `baytrim job reopen`.

use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::{CloseJobRequest, Job, ReopenJobRequest};
use tonic::Status;
use tonic::transport::Channel;

use super::request_id;
use crate::client::{ANSWER_BYTES_MAX, QUICK};
use crate::context::Context;
use crate::failure::Failure;
use crate::json::job::JobJson;
use crate::name::JobName;
use crate::render::job::render_job;

/// Closes a job.
pub(crate) async fn close(
    job: &JobName,
    reason: &str,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let request = CloseJobRequest {
        name: job.full.clone(),
        reason: reason.to_owned(),
        request_id: request_id(),
    };
    let call = |mut client: JobServiceClient<Channel>, request| async move {
        client
            .close_job(request)
            .await
            .map(|answer| answer.map(|it| it.job))
    };
    moved(context, request, call).await
}

/// Takes a closed job up again.
pub(crate) async fn reopen(
    job: &JobName,
    reason: &str,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let request = ReopenJobRequest {
        name: job.full.clone(),
        reason: reason.to_owned(),
        request_id: request_id(),
    };
    let call = |mut client: JobServiceClient<Channel>, request| async move {
        client
            .reopen_job(request)
            .await
            .map(|answer| answer.map(|it| it.job))
    };
    moved(context, request, call).await
}

/// Asks that a job stand elsewhere, and shows it.
async fn moved<M, F>(
    context: &mut Context<'_>,
    request: M,
    call: impl Fn(JobServiceClient<Channel>, tonic::Request<M>) -> F,
) -> Result<(), Failure>
where
    M: Clone,
    F: Future<Output = Result<tonic::Response<Option<Job>>, Status>>,
{
    let server = context.server().await?;
    let answer = server.ask(QUICK, request, |channel, request| {
        let client = JobServiceClient::new(channel);
        call(client.max_decoding_message_size(ANSWER_BYTES_MAX), request)
    });
    let job = answer.await?.ok_or_else(|| Failure::incomplete("job"))?;
    context.result(&JobJson::from(&job), |options| render_job(&job, options))
}
