//! `baytrim job close`, `baytrim job reopen`.

use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::{CloseJobRequest, Job, ReopenJobRequest};

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
    let server = context.server().await?;
    let request = CloseJobRequest {
        name: job.full.clone(),
        reason: reason.to_owned(),
        request_id: request_id(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = JobServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .close_job(request)
            .await
    });
    show(answer.await?.job, context)
}

/// Takes a closed job up again.
pub(crate) async fn reopen(
    job: &JobName,
    reason: &str,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let server = context.server().await?;
    let request = ReopenJobRequest {
        name: job.full.clone(),
        reason: reason.to_owned(),
        request_id: request_id(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = JobServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .reopen_job(request)
            .await
    });
    show(answer.await?.job, context)
}

fn show(job: Option<Job>, context: &mut Context<'_>) -> Result<(), Failure> {
    let job = job.ok_or_else(|| Failure::incomplete("job"))?;
    context.result(&JobJson::from(&job), |options| render_job(&job, options))
}
