//! `baytrim propose` and `baytrim proposal …`.

use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::{
    CreateProposalRequest, GetProposalRequest, ListProposalsRequest, Proposal,
    ReproduceProposalRequest,
};

use super::pages::{PAGE_SIZE, all_pages};
use super::request_id;
use crate::args::proposal::{ProposalCommand, ProposeArgs};
use crate::client::{ANSWER_BYTES_MAX, COMPUTE, LONG, QUICK, Server};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::proposal::{ProposalJson, ProposalsJson};
use crate::json::reproduction::ReproductionJson;
use crate::name::JobName;
use crate::render::proposal::{render_proposal, render_proposals};
use crate::render::reproduction::render_reproduction;

/// Computes a proposal: for the fuel table, or for the grip table of a riding mode.
pub(crate) async fn propose(
    args: &ProposeArgs,
    grip_mode: &str,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let request = CreateProposalRequest {
        parent: args.job.full.clone(),
        request_id: request_id(),
        excluded_pulls: args.without.clone(),
        validate_only: args.dry_run,
        grip_mode: grip_mode.to_owned(),
    };
    let answer = server.ask(COMPUTE, request, |channel, request| async move {
        let client = CorrectionServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .create_proposal(request)
            .await
    });
    let proposal = answer
        .await?
        .proposal
        .ok_or_else(|| Failure::incomplete("proposal"));
    let mut proposal = proposal?;
    if args.dry_run {
        // What is not recorded has no number; the job's name says what it is of.
        proposal.name.clone_from(&args.job.full);
    }
    context.result(&ProposalJson::from(&proposal), |options| {
        render_proposal(&proposal, options)
    })?;
    Ok(Exit::Done)
}

/// Does what `command` asks.
pub(crate) async fn run(
    command: &ProposalCommand,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    match command {
        ProposalCommand::Show(arg) => show(&arg.proposal, context).await?,
        ProposalCommand::Reproduce(arg) => return reproduce(&arg.proposal, context).await,
        ProposalCommand::List(arg) => list(&arg.job, context).await?,
    }
    Ok(Exit::Done)
}

/// Returns the proposal `name`.
pub(crate) async fn get(server: &Server, name: &str) -> Result<Proposal, Failure> {
    let request = GetProposalRequest {
        name: name.to_owned(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = CorrectionServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .get_proposal(request)
            .await
    });
    answer
        .await?
        .proposal
        .ok_or_else(|| Failure::incomplete("proposal"))
}

async fn show(name: &str, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let proposal = get(&server, name).await?;
    context.result(&ProposalJson::from(&proposal), |options| {
        render_proposal(&proposal, options)
    })
}

/// Has a proposal computed again; one that comes out otherwise is a failure, told as a result.
async fn reproduce(name: &str, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let request = ReproduceProposalRequest {
        name: name.to_owned(),
    };
    let answer = server.ask(LONG, request, |channel, request| async move {
        let client = CorrectionServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .reproduce_proposal(request)
            .await
    });
    let found = answer.await?;
    context.result(&ReproductionJson::new(name, &found), |options| {
        render_reproduction(name, &found, options)
    })?;
    Ok(if found.identical {
        Exit::Done
    } else {
        Exit::Failed
    })
}

async fn list(job: &JobName, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let proposals = all_pages(async |page_token| {
        let parent = job.full.clone();
        let request = ListProposalsRequest {
            parent,
            page_size: PAGE_SIZE,
            page_token,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            let client = CorrectionServiceClient::new(channel);
            client
                .max_decoding_message_size(ANSWER_BYTES_MAX)
                .list_proposals(request)
                .await
        });
        answer
            .await
            .map(|page| (page.proposals, page.next_page_token))
    });
    let proposals = proposals.await?;
    let value = ProposalsJson::new(job.short(), &proposals);
    context.result(&value, |options| render_proposals(&proposals, options))
}
