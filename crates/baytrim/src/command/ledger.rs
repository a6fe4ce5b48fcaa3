//! `baytrim ledger …`.

use std::path::Path;

use baytrim_api::v1::ledger_service_client::LedgerServiceClient;
use baytrim_api::v1::{ListRecordsRequest, VerifyLedgerRequest};

use super::archive;
use super::checkpoint;
use super::pages::{PAGE_SIZE, all_pages};
use crate::args::ledger::LedgerCommand;
use crate::client::{ANSWER_BYTES_MAX, LONG, QUICK};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::ledger::{CheckJson, RecordsJson};
use crate::name::JobName;
use crate::render::ledger::{render_check, render_held, render_records};

/// Does what `command` asks; a ledger that does not hold is a failure, told as a result.
pub(crate) async fn run(
    command: &LedgerCommand,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    match command {
        LedgerCommand::Verify { checkpoint } => verify(checkpoint.as_deref(), context).await,
        LedgerCommand::Checkpoint { output } => {
            let made = checkpoint::make(output, context).await;
            made.map(|()| Exit::Done)
        }
        LedgerCommand::Proof {
            job,
            checkpoint,
            output,
        } => {
            let proven = checkpoint::prove(&job.job, *checkpoint, output, context).await;
            proven.map(|()| Exit::Done)
        }
        LedgerCommand::VerifyCheckpoint { file, key } => {
            checkpoint::verify(file, key, context).await
        }
        LedgerCommand::Backup { output } => {
            archive::back_up(output, context).await.map(|()| Exit::Done)
        }
        LedgerCommand::Log(arg) => log(&arg.job, context).await.map(|()| Exit::Done),
    }
}

async fn verify(checkpoint: Option<&Path>, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let elsewhere = match checkpoint {
        Some(path) => checkpoint::read(path).await?,
        None => String::new(),
    };
    let server = context.server().await?;
    let answer = server.ask(
        LONG,
        VerifyLedgerRequest {
            checkpoint: elsewhere,
        },
        |channel, request| async move {
            LedgerServiceClient::new(channel)
                .verify_ledger(request)
                .await
        },
    );
    let check = answer.await?;
    context.result(&CheckJson::from(&check), |options| {
        let held = checkpoint.filter(|_| check.intact);
        let held = held.map(|file| render_held(file, options));
        render_check(&check, options) + &held.unwrap_or_default()
    })?;
    Ok(if check.intact {
        Exit::Done
    } else {
        Exit::Failed
    })
}

async fn log(job: &JobName, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let records = all_pages(async |page_token| {
        let parent = job.full.clone();
        let with_bodies = false;
        let request = ListRecordsRequest {
            parent,
            page_size: PAGE_SIZE,
            page_token,
            with_bodies,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            let client = LedgerServiceClient::new(channel);
            client
                .max_decoding_message_size(ANSWER_BYTES_MAX)
                .list_records(request)
                .await
        });
        answer
            .await
            .map(|page| (page.records, page.next_page_token))
    });
    let records = records.await?;
    let value = RecordsJson::new(job.short(), &records);
    context.result(&value, |options| render_records(&records, options))
}
