//! `baytrim approve`, `reject`, `comment`, `revert`.

use baytrim_api::v1::review_service_client::ReviewServiceClient;
use baytrim_api::v1::table_service_client::TableServiceClient;
use baytrim_api::v1::{
    ApproveProposalRequest, CreateCommentRequest, NodeRef, Proposal, RejectProposalRequest,
    RevertTableRequest,
};

use super::{proposal, request_id};
use crate::args::proposal::{ApproveArgs, CommentArgs, RejectArgs};
use crate::args::table::RevertArgs;
use crate::client::{ANSWER_BYTES_MAX, QUICK};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::proposal::{DecidedJson, SaidJson};
use crate::json::table::RevisionJson;
use crate::render::comments::render_comment;
use crate::render::proposal::render_verdict;
use crate::render::table::render_new_revision;

/// Approves a proposal as it stands now.
pub(crate) async fn approve(
    args: &ApproveArgs,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let name = args.proposal.proposal.clone();
    let etag = proposal::get(&server, &name).await?.etag;
    let node = |take: &crate::args::proposal::Take| NodeRef {
        rpm: take.node.rpm,
        plate_percent: take.node.plate_percent,
        after: take.value,
        grip_percent: None,
    };
    let grip = |grip_percent: &f64| NodeRef {
        grip_percent: Some(*grip_percent),
        ..NodeRef::default()
    };
    let nodes = args.only.iter().map(node).chain(args.grip.iter().map(grip));
    let request = ApproveProposalRequest {
        name,
        etag,
        nodes: nodes.collect(),
        reason: args.reason.reason.clone(),
        request_id: request_id(),
        share_percent: args.share.unwrap_or_default(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = ReviewServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .approve_proposal(request)
            .await
    });
    show(answer.await?.proposal, context)
}

/// Rejects a proposal as it stands now.
pub(crate) async fn reject(args: &RejectArgs, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let name = args.proposal.proposal.clone();
    let etag = proposal::get(&server, &name).await?.etag;
    let reason = args.reason.reason.clone();
    let request = RejectProposalRequest {
        name,
        etag,
        reason,
        request_id: request_id(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = ReviewServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .reject_proposal(request)
            .await
    });
    show(answer.await?.proposal, context)
}

/// Says something about a proposal, or about one of its nodes or grips.
pub(crate) async fn comment(
    args: &CommentArgs,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let request = CreateCommentRequest {
        parent: args.proposal.proposal.clone(),
        text: args.text.clone(),
        node: args
            .node
            .map(|node| NodeRef {
                rpm: node.rpm,
                plate_percent: node.plate_percent,
                ..NodeRef::default()
            })
            .or(args.grip.map(|grip_percent| NodeRef {
                grip_percent: Some(grip_percent),
                ..NodeRef::default()
            })),
        request_id: request_id(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = ReviewServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .create_comment(request)
            .await
    });
    let comment = answer
        .await?
        .comment
        .ok_or_else(|| Failure::incomplete("comment"))?;
    let value = SaidJson::new(&args.proposal.proposal, &comment);
    context.result(&value, |options| render_comment(&comment, options))?;
    Ok(Exit::Done)
}

/// Shows the proposal with its verdict.
fn show(decided: Option<Proposal>, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let decided = decided.ok_or_else(|| Failure::incomplete("proposal"))?;
    context.result(&DecidedJson::from(&decided), |options| {
        render_verdict(&decided, options)
    })?;
    Ok(Exit::Done)
}

/// Puts an earlier revision back.
pub(crate) async fn revert(args: &RevertArgs, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let request = RevertTableRequest {
        parent: args.job.job.full.clone(),
        revision: args.to.clone(),
        reason: args.reason.reason.clone(),
        request_id: request_id(),
        etag: String::new(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = TableServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .revert_table(request)
            .await
    });
    let revision = answer
        .await?
        .revision
        .ok_or_else(|| Failure::incomplete("revision"))?;
    let value = RevisionJson::from(&revision);
    context.result(&value, |options| render_new_revision(&revision, options))?;
    Ok(Exit::Done)
}
