//! `baytrim job …`.

use std::path::Path;

use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::{
    CreateJobRequest, GetJobRequest, Job, ListJobsRequest, RenderJobSheetRequest,
};

use super::archive;
use super::job_follow;
use super::pages::{PAGE_SIZE, all_pages};
use super::{request_id, standing};
use crate::args::job::JobCommand;
use crate::client::{ANSWER_BYTES_MAX, QUICK, Server};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::job_bundle::read_bundle;
use crate::json::job::{JobJson, JobsJson, SheetJson};
use crate::name::JobName;
use crate::render::job::{render_job, render_jobs};

/// A job file with every key explained.
const EXAMPLE: &str = include_str!("../job_example.toml");

/// Does what `command` asks.
pub(crate) async fn run(command: &JobCommand, context: &mut Context<'_>) -> Result<Exit, Failure> {
    match command {
        JobCommand::Open { file, check } => open(file, *check, context).await?,
        JobCommand::List => list(context).await?,
        JobCommand::Show(arg) => show(&arg.job, context).await?,
        JobCommand::Export { job, output } => {
            archive::export_job(&job.job, output, context).await?;
        }
        JobCommand::Import { file, check } => archive::import_job(file, *check, context).await?,
        JobCommand::Sheet { job, output } => sheet(&job.job, output, context).await?,
        JobCommand::Close { job, reason } => {
            standing::close(&job.job, &reason.reason, context).await?;
        }
        JobCommand::Reopen { job, reason } => {
            standing::reopen(&job.job, &reason.reason, context).await?;
        }
        JobCommand::Follow(arg) => return job_follow::run(&arg.job, context).await,
        JobCommand::Example => context.write(EXAMPLE.as_bytes())?,
    }
    Ok(Exit::Done)
}

/// Returns the job `name`.
pub(crate) async fn get(server: &Server, name: &str) -> Result<Job, Failure> {
    let request = GetJobRequest {
        name: name.to_owned(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = JobServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .get_job(request)
            .await
    });
    answer.await?.job.ok_or_else(|| Failure::incomplete("job"))
}

async fn open(file: &Path, check: bool, context: &mut Context<'_>) -> Result<(), Failure> {
    let bundle = read_bundle(file).await?;
    let server = context.server().await?;
    let request = CreateJobRequest {
        job_id: String::new(),
        job_file: bundle.text,
        attachments: bundle.attachments,
        request_id: request_id(),
        validate_only: check,
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = JobServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .create_job(request)
            .await
    });
    let mut job = answer
        .await?
        .job
        .ok_or_else(|| Failure::incomplete("job"))?;
    if check {
        job.name.clear();
    }
    context.result(&JobJson::from(&job), |options| render_job(&job, options))
}

async fn list(context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let jobs = all_pages(async |page_token| {
        let request = ListJobsRequest {
            page_size: PAGE_SIZE,
            page_token,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            let client = JobServiceClient::new(channel);
            client
                .max_decoding_message_size(ANSWER_BYTES_MAX)
                .list_jobs(request)
                .await
        });
        answer.await.map(|page| (page.jobs, page.next_page_token))
    });
    let jobs = jobs.await?;
    context.result(&JobsJson::new(&jobs), |options| render_jobs(&jobs, options))
}

async fn show(job: &JobName, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let job = get(&server, &job.full).await?;
    context.result(&JobJson::from(&job), |options| render_job(&job, options))
}

async fn sheet(job: &JobName, output: &Path, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let request = RenderJobSheetRequest {
        name: job.full.clone(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = JobServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .render_job_sheet(request)
            .await
    });
    let answer = answer.await?;
    let is_file = output != Path::new("-");
    if is_file {
        let written = tokio::fs::write(output, &answer.content).await;
        written.map_err(|error| Failure::file("write the sheet", output, &error))?;
    }
    let shown = is_file.then(|| output.display().to_string());
    let place = shown.as_deref().unwrap_or("standard output");
    let pages = if answer.page_count == 1 {
        "page"
    } else {
        "pages"
    };
    let note = format!(
        "the sheet, {} {pages}, went to {place}, sha256 {}",
        answer.page_count, answer.sha256
    );
    if context.is_json() {
        return context.result(&SheetJson::new(job.short(), &answer, shown), |_| {
            String::new()
        });
    }
    if !is_file {
        context.write(&answer.content)?;
    }
    context.tell(&note);
    Ok(())
}
