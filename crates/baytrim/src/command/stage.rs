//! `baytrim stage …`.

use baytrim_api::v1::stage_service_client::StageServiceClient;
use baytrim_api::v1::{
    AssignPullRequest, CompareStagesRequest, CreateStageRequest, ListStagesRequest, Stage,
    StageKind, VehicleRecord,
};

use super::pages::{PAGE_SIZE, all_pages};
use super::{job, request_id};
use crate::args::stage::{BeginArgs, Kind, StageCommand};
use crate::client::{ANSWER_BYTES_MAX, COMPUTE, QUICK};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::stage::{ComparisonJson, StageJson, StagesJson};
use crate::name::JobName;
use crate::render::stage::{render_stage, render_stages};
use crate::render::stage_comparison::render_comparison;

/// Does what `command` asks.
pub(crate) async fn run(
    command: &StageCommand,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    match command {
        StageCommand::Begin(args) => begin(args, context).await?,
        StageCommand::List(arg) => list(&arg.job, context).await?,
        StageCommand::Assign {
            pull,
            stage,
            reason,
        } => assign(pull, stage, &reason.reason, context).await?,
        StageCommand::Compare { job, from, to } => compare(&job.job, from, to, context).await?,
    }
    Ok(Exit::Done)
}

async fn begin(args: &BeginArgs, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let kind = match args.kind {
        Kind::AsItCame => StageKind::AsItCame,
        Kind::PartsFitted => StageKind::PartsFitted,
        Kind::StartingTable => StageKind::StartingTable,
        Kind::Tuned => StageKind::Tuned,
        Kind::Other => StageKind::Other,
    };
    let request = CreateStageRequest {
        parent: args.job.job.full.clone(),
        kind: kind.into(),
        title: args.title.clone().unwrap_or_default(),
        notes: args.notes.clone().unwrap_or_default(),
        request_id: request_id(),
        vehicle: vehicle(args),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        StageServiceClient::new(channel).create_stage(request).await
    });
    show(answer.await?.stage, context)
}

/// Returns what is other of the vehicle, none where nothing was typed.
fn vehicle(args: &BeginArgs) -> Option<VehicleRecord> {
    let (overrun_cut, overrun_rpm) = args.overrun.clone().unwrap_or_default();
    let vehicle = VehicleRecord {
        overrun_cut,
        overrun_rpm,
        secondary_air: args.secondary_air.clone().unwrap_or_default(),
    };
    (vehicle != VehicleRecord::default()).then_some(vehicle)
}

async fn assign(
    pull: &str,
    stage: &str,
    reason: &str,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let server = context.server().await?;
    let request = AssignPullRequest {
        name: pull.to_owned(),
        stage: stage.to_owned(),
        reason: reason.to_owned(),
        request_id: request_id(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        StageServiceClient::new(channel).assign_pull(request).await
    });
    show(answer.await?.stage, context)
}

fn show(stage: Option<Stage>, context: &mut Context<'_>) -> Result<(), Failure> {
    let stage = stage.ok_or_else(|| Failure::incomplete("stage"))?;
    context.result(&StageJson::from(&stage), |options| {
        render_stage(&stage, options)
    })
}

async fn list(job: &JobName, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let stages = all_pages(async |page_token| {
        let request = ListStagesRequest {
            parent: job.full.clone(),
            page_size: PAGE_SIZE,
            page_token,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            StageServiceClient::new(channel).list_stages(request).await
        });
        answer.await.map(|page| (page.stages, page.next_page_token))
    });
    let stages = stages.await?;
    let name = job.short();
    context.result(&StagesJson::new(&name, &stages), |options| {
        render_stages(&name, &stages, options)
    })
}

async fn compare(
    name: &JobName,
    from: &str,
    to: &str,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let server = context.server().await?;
    let axes = if context.is_json() {
        None
    } else {
        job::get(&server, &name.full).await?.axes
    };
    let request = CompareStagesRequest {
        parent: name.full.clone(),
        from_stage: from.to_owned(),
        to_stage: to.to_owned(),
    };
    let answer = server.ask(COMPUTE, request, |channel, request| async move {
        let client = StageServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .compare_stages(request)
            .await
    });
    let found = answer
        .await?
        .comparison
        .ok_or_else(|| Failure::incomplete("comparison"))?;
    let axes = axes.unwrap_or_default();
    context.result(&ComparisonJson::new(&name.short(), &found), |options| {
        render_comparison(&found, &axes, options)
    })
}
