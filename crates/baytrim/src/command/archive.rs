//! `baytrim job export`, `job import`, `ledger backup`.

use std::path::{Path, PathBuf};

use baytrim_api::v1::ledger_service_client::LedgerServiceClient;
use baytrim_api::v1::{
    ArchiveSummary, BackUpLedgerRequest, BackUpLedgerResponse, ExportJobRequest, ExportJobResponse,
    ImportJobRequest, OpenImport, back_up_ledger_response, export_job_response, import_job_request,
};
use tokio::fs::File;
use tokio::io::AsyncWriteExt as _;
use tonic::Streaming;

use super::send::{Wrapping, send};
use crate::client::WHOLE;
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::archive::{ArchiveJson, ImportJson};
use crate::name::JobName;
use crate::render::archive::{render_archive, render_import};

/// The next piece of an archive.
enum Piece {
    Chunk(Vec<u8>),
    Summary(ArchiveSummary),
}

/// Writes a job with its logs into a file.
pub(crate) async fn export_job(
    job: &JobName,
    output: &Path,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let file = Part::begin(output).await?;
    let server = context.server().await?;
    let name = job.full.clone();
    let answer =
        server.ask(
            WHOLE,
            ExportJobRequest { name },
            |channel, request| async move {
                LedgerServiceClient::new(channel).export_job(request).await
            },
        );
    let piece = |message: ExportJobResponse| {
        Some(match message.message? {
            export_job_response::Message::Chunk(chunk) => Piece::Chunk(chunk),
            export_job_response::Message::Summary(summary) => Piece::Summary(summary),
        })
    };
    let summary = receive(answer.await?, piece, file, server.url()).await?;
    show(&job.short(), &summary, output, context)
}

/// Writes the whole ledger into a file.
pub(crate) async fn back_up(output: &Path, context: &mut Context<'_>) -> Result<(), Failure> {
    let file = Part::begin(output).await?;
    let server = context.server().await?;
    let answer = server.ask(
        WHOLE,
        BackUpLedgerRequest {},
        |channel, request| async move {
            LedgerServiceClient::new(channel)
                .back_up_ledger(request)
                .await
        },
    );
    let piece = |message: BackUpLedgerResponse| {
        Some(match message.message? {
            back_up_ledger_response::Message::Chunk(chunk) => Piece::Chunk(chunk),
            back_up_ledger_response::Message::Summary(summary) => Piece::Summary(summary),
        })
    };
    let summary = receive(answer.await?, piece, file, server.url()).await?;
    show("The whole ledger", &summary, output, context)
}

/// Sends an archive of a job to the server.
pub(crate) async fn import_job(
    file: &Path,
    check: bool,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let open = OpenImport {
        validate_only: check,
    };
    let wrapping = Wrapping {
        open: ImportJobRequest {
            message: Some(import_job_request::Message::Open(open)),
        },
        chunk: |chunk| ImportJobRequest {
            message: Some(import_job_request::Message::Chunk(chunk)),
        },
    };
    let server = context.server().await?;
    let answer = send(
        &server,
        file,
        &wrapping,
        context.draws_progress(),
        |channel, request| async move { LedgerServiceClient::new(channel).import_job(request).await },
    );
    let imported = answer.await?;
    let value = ImportJson::new(&imported, check);
    context.result(&value, |options| render_import(&imported, check, options))
}

fn show(
    what: &str,
    summary: &ArchiveSummary,
    output: &Path,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let file = output.display().to_string();
    let value = ArchiveJson::new(what, &file, summary);
    context.result(&value, |options| {
        render_archive(what, &file, summary, options)
    })
}

async fn receive<M>(
    mut pieces: Streaming<M>,
    piece: impl Fn(M) -> Option<Piece>,
    mut part: Part,
    server: &str,
) -> Result<ArchiveSummary, Failure> {
    loop {
        let message = pieces.message().await;
        let message = message.map_err(|status| Failure::of_status(&status, server))?;
        match message.and_then(&piece) {
            Some(Piece::Chunk(chunk)) => part.write(&chunk).await?,
            Some(Piece::Summary(summary)) if summary.file_bytes == part.bytes => {
                part.finish().await?;
                return Ok(summary);
            }
            _ => return Err(Failure::incomplete("end")),
        }
    }
}

/// A file that takes its name only once it is whole.
struct Part {
    file: File,
    path: PathBuf,
    begun: PathBuf,
    bytes: u64,
}

impl Part {
    async fn begin(path: &Path) -> Result<Self, Failure> {
        if tokio::fs::try_exists(path).await.unwrap_or(false) {
            let message = format!("{} is there already; name another file", path.display());
            return Err(Failure::local(Exit::Usage, "FILE", message));
        }
        let mut part = path.as_os_str().to_owned();
        part.push(".part");
        let part = PathBuf::from(part);
        let file = File::create(&part).await;
        Ok(Self {
            file: file.map_err(|error| Failure::file("write", &part, &error))?,
            path: path.to_owned(),
            begun: part,
            bytes: 0,
        })
    }

    async fn write(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        let written = self.file.write_all(bytes).await;
        written.map_err(|error| Failure::file("write", &self.begun, &error))?;
        self.bytes += bytes.len() as u64;
        Ok(())
    }

    async fn finish(mut self) -> Result<(), Failure> {
        let synced = match self.file.flush().await {
            Ok(()) => self.file.sync_all().await,
            Err(error) => Err(error),
        };
        synced.map_err(|error| Failure::file("write", &self.begun, &error))?;
        let renamed = tokio::fs::rename(&self.begun, &self.path).await;
        renamed.map_err(|error| Failure::file("write", &self.path, &error))
    }
}
