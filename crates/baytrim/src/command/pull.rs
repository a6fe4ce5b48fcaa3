//! `baytrim pull …`.

use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::{GetPullRequest, ListPullsRequest};

use super::pages::{PAGE_SIZE, all_pages};
use super::{job, submit};
use crate::args::pull::PullCommand;
use crate::client::{ANSWER_BYTES_MAX, QUICK};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::pull::{PullJson, PullsJson};
use crate::name::{JobName, job_of};
use crate::render::pull::{render_pull, render_pulls};

/// Does what `command` asks.
pub(crate) async fn run(command: &PullCommand, context: &mut Context<'_>) -> Result<Exit, Failure> {
    match command {
        PullCommand::Submit(args) => submit::submit(args, context).await?,
        PullCommand::List(arg) => list(&arg.job, context).await?,
        PullCommand::Show { pull } => show(pull, context).await?,
    }
    Ok(Exit::Done)
}

async fn list(job: &JobName, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let pulls = all_pages(async |page_token| {
        let parent = job.full.clone();
        let request = ListPullsRequest {
            parent,
            page_size: PAGE_SIZE,
            page_token,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            let client = PullServiceClient::new(channel);
            client
                .max_decoding_message_size(ANSWER_BYTES_MAX)
                .list_pulls(request)
                .await
        });
        answer.await.map(|page| (page.pulls, page.next_page_token))
    });
    let pulls = pulls.await?;
    let name = job.short();
    context.result(&PullsJson::new(&name, &pulls, false), |options| {
        render_pulls(&pulls, options)
    })
}

async fn show(name: &str, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let request = GetPullRequest {
        name: name.to_owned(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = PullServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .get_pull(request)
            .await
    });
    let pull = answer
        .await?
        .pull
        .ok_or_else(|| Failure::incomplete("pull"))?;
    let axes = if context.is_json() {
        None
    } else {
        job::get(&server, &format!("jobs/{}", job_of(name)))
            .await?
            .axes
    };
    let value = PullJson::new(&pull, job_of(name));
    context.result(&value, |options| render_pull(&pull, axes.as_ref(), options))
}
