//! `baytrim library …`.

use baytrim_api::v1::library_service_client::LibraryServiceClient;
use baytrim_api::v1::{CreateStartingTableRequest, FindNearestRequest, ListLibraryRequest};

use super::pages::{PAGE_SIZE, all_pages};
use super::request_id;
use crate::args::library::{LibraryCommand, StartArgs};
use crate::client::{ANSWER_BYTES_MAX, COMPUTE, QUICK};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::library::{LibraryJson, NearestJson};
use crate::json::proposal::ProposalJson;
use crate::name::JobName;
use crate::render::library::{render_library, render_nearest};
use crate::render::proposal::render_proposal;

/// Does what `command` asks.
pub(crate) async fn run(
    command: &LibraryCommand,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    match command {
        LibraryCommand::List => list(context).await?,
        LibraryCommand::Nearest(arg) => nearest(&arg.job, context).await?,
        LibraryCommand::Start(args) => start(args, context).await?,
    }
    Ok(Exit::Done)
}

async fn list(context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let entries = all_pages(async |page_token| {
        let request = ListLibraryRequest {
            page_size: PAGE_SIZE,
            page_token,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            LibraryServiceClient::new(channel)
                .list_library(request)
                .await
        });
        answer
            .await
            .map(|page| (page.entries, page.next_page_token))
    });
    let entries = entries.await?;
    context.result(&LibraryJson::new(&entries), |options| {
        render_library(&entries, options)
    })
}

async fn nearest(job: &JobName, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let request = FindNearestRequest {
        parent: job.full.clone(),
    };
    let answer = server.ask(COMPUTE, request, |channel, request| async move {
        LibraryServiceClient::new(channel)
            .find_nearest(request)
            .await
    });
    let found = answer.await?;
    let name = job.short();
    context.result(&NearestJson::new(&name, &found), |options| {
        render_nearest(&name, &found, options)
    })
}

async fn start(args: &StartArgs, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let parent = &args.job.job.full;
    let request = CreateStartingTableRequest {
        parent: parent.clone(),
        from_jobs: args.from.iter().map(|job| job.full.clone()).collect(),
        request_id: request_id(),
        validate_only: args.dry_run,
    };
    let answer = server.ask(COMPUTE, request, |channel, request| async move {
        LibraryServiceClient::new(channel)
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .create_starting_table(request)
            .await
    });
    let proposal = answer.await?.proposal;
    let mut proposal = proposal.ok_or_else(|| Failure::incomplete("proposal"))?;
    if args.dry_run {
        // What is not recorded has no number; the job's name says what it is of.
        proposal.name.clone_from(parent);
    }
    context.result(&ProposalJson::from(&proposal), |options| {
        render_proposal(&proposal, options)
    })
}
