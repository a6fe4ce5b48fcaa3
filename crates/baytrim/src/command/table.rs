//! `baytrim table …`.

use std::path::Path;

use baytrim_api::v1::export_table_request::{Format, Quantity, Rows};
use baytrim_api::v1::table_service_client::TableServiceClient;
use baytrim_api::v1::{ExportTableRequest, GetRevisionRequest, ListRevisionsRequest, Revision};

use super::pages::{PAGE_SIZE, all_pages};
use super::request_id;
use crate::args::table::{ExportArgs, ExportFormat, ExportQuantity, ExportRows, TableCommand};
use crate::client::{ANSWER_BYTES_MAX, QUICK, Server};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::table::{DiffJson, ExportJson, RevisionJson, RevisionsJson};
use crate::name::JobName;
use crate::render::table::{render_revision, render_revisions};
use crate::render::table_diff::render_diff;

/// Does what `command` asks.
pub(crate) async fn run(
    command: &TableCommand,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    match command {
        TableCommand::Show { job, revision } => {
            show(job.job.revision(revision.revision.as_deref()), context).await?;
        }
        TableCommand::Diff { job, from, to } => {
            diff(&job.job, from, to.as_deref(), context).await?;
        }
        TableCommand::List(arg) => list(&arg.job, context).await?,
        TableCommand::Export(args) => export(args, context).await?,
    }
    Ok(Exit::Done)
}

async fn show(name: String, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let revision = get(&server, name).await?;
    let value = RevisionJson::from(&revision);
    context.result(&value, |options| render_revision(&revision, options))
}

async fn diff(
    job: &JobName,
    from: &str,
    to: Option<&str>,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let server = context.server().await?;
    let from = get(&server, job.revision(Some(from))).await?;
    let to = get(&server, job.revision(to)).await?;
    let value = DiffJson::new(&from, &to);
    context.result(&value, |options| render_diff(&from, &to, options))
}

async fn get(server: &Server, name: String) -> Result<Revision, Failure> {
    let answer = server.ask(
        QUICK,
        GetRevisionRequest { name },
        |channel, request| async move {
            let client = TableServiceClient::new(channel);
            client
                .max_decoding_message_size(ANSWER_BYTES_MAX)
                .get_revision(request)
                .await
        },
    );
    answer
        .await?
        .revision
        .ok_or_else(|| Failure::incomplete("revision"))
}

async fn list(job: &JobName, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let revisions = all_pages(async |page_token| {
        let parent = job.full.clone();
        let request = ListRevisionsRequest {
            parent,
            page_size: PAGE_SIZE,
            page_token,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            let client = TableServiceClient::new(channel);
            client
                .max_decoding_message_size(ANSWER_BYTES_MAX)
                .list_revisions(request)
                .await
        });
        answer
            .await
            .map(|page| (page.revisions, page.next_page_token))
    });
    let revisions = revisions.await?;
    let value = RevisionsJson::new(job.short(), &revisions);
    context.result(&value, |options| render_revisions(&revisions, options))
}

async fn export(args: &ExportArgs, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let request = export_request(args);
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = TableServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .export_table(request)
            .await
    });
    let answer = answer.await?;
    let output = args
        .output
        .as_deref()
        .filter(|path| *path != Path::new("-"));
    if let Some(path) = output {
        let written = tokio::fs::write(path, &answer.content).await;
        written.map_err(|error| Failure::file("write the export", path, &error))?;
    }
    let shown = output.map(|path| path.display().to_string());
    let place = shown.as_deref().unwrap_or("standard output");
    let note = format!(
        "{} went to {place}, sha256 {}",
        answer.file_name, answer.sha256
    );
    if context.is_json() {
        let value = ExportJson::new(args.job.job.short(), &answer, shown);
        return context.result(&value, |_| String::new());
    }
    if output.is_none() {
        context.write(&answer.content)?;
    }
    context.tell(&note);
    if args.format == ExportFormat::Grid {
        // The form has no room for them.
        for caution in &answer.cautions {
            context.tell(caution);
        }
    }
    Ok(())
}

fn export_request(args: &ExportArgs) -> ExportTableRequest {
    let format = match args.format {
        ExportFormat::Csv => Format::Csv,
        ExportFormat::Json => Format::Json,
        ExportFormat::Grid => Format::Grid,
    };
    let quantity = match args.quantity {
        ExportQuantity::Percent => Quantity::Percent,
        ExportQuantity::Factor => Quantity::Factor,
        ExportQuantity::Value => Quantity::Value,
    };
    let rows = match args.rows {
        ExportRows::Rpm => Rows::Rpm,
        ExportRows::Plate => Rows::Plate,
    };
    ExportTableRequest {
        name: args.job.job.revision(args.revision.revision.as_deref()),
        format: format.into(),
        quantity: quantity.into(),
        rows: rows.into(),
        decimals: args.decimals,
        request_id: request_id(),
    }
}
