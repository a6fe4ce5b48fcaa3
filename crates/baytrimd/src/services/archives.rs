//! Archives on their way over the wire.

use std::io::{self, Write};
use std::sync::Arc;

use baytrim_api::v1::{
    ArchiveSummary, BackUpLedgerResponse, ExportJobResponse, ImportJobRequest, ImportJobResponse,
    OpenImport, back_up_ledger_response, export_job_response, import_job_request,
};
use baytrim_archive::{Contents, Summary, WriteError, write};
use tokio::sync::oneshot::error::TryRecvError;
use tokio::sync::{mpsc, oneshot};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Status, Streaming};

use super::chunks::{Chunks, FileMessage, Piece, keep};
use crate::carry::{self, Imported};
use crate::compute::Lane;
use crate::convert::name;
use crate::ending::Ending;
use crate::fault::{Fault, InternalFault};
use crate::ledger_check;
use crate::limits::{ARCHIVE_BYTES_MAX, ARCHIVE_CHUNK_BYTES, STREAM_QUEUE_MAX};
use crate::shop::Shop;

/// The messages of an archive that goes out.
pub(super) type Sent<M> = ReceiverStream<Result<M, Status>>;

/// A message that carries some of an archive, or its summary.
pub(super) trait ArchiveMessage: Send + 'static {
    /// Returns the message of the next bytes.
    fn chunk(bytes: Vec<u8>) -> Self;
    /// Returns the last message.
    fn summary(summary: ArchiveSummary) -> Self;
}

macro_rules! archive_message {
    ($message:ident, $part:ident) => {
        impl ArchiveMessage for $message {
            fn chunk(bytes: Vec<u8>) -> Self {
                let message = Some($part::Message::Chunk(bytes));
                Self { message }
            }

            fn summary(summary: ArchiveSummary) -> Self {
                let message = Some($part::Message::Summary(summary));
                Self { message }
            }
        }
    };
}

archive_message!(ExportJobResponse, export_job_response);
archive_message!(BackUpLedgerResponse, back_up_ledger_response);

/// Writes what `contents` says as an archive, chunk by chunk, as fast as the other side reads, until `ending` comes.
pub(super) fn send<M: ArchiveMessage>(
    shop: &Arc<Shop>,
    mut ending: Ending,
    contents: impl FnOnce(&Shop) -> Result<Contents, Fault> + Send + 'static,
) -> Sent<M> {
    let (sender, receiver) = mpsc::channel(STREAM_QUEUE_MAX);
    let worker = Arc::clone(shop);
    let compute = shop.compute().clone();
    tokio::spawn(async move {
        let answers = sender.clone();
        let (go_on, is_over) = oneshot::channel::<()>();
        let work = move || {
            let mut out = Outbound {
                sender,
                is_over,
                held: Vec::with_capacity(ARCHIVE_CHUNK_BYTES),
            };
            let written = write(&**worker.store(), &contents(&worker)?, &mut out);
            let summary = written.map_err(|error| match error {
                WriteError::Io(_) => Fault::Cut,
                WriteError::Store(fault) => fault.into(),
                WriteError::Blob(error) => InternalFault::from(error).into(),
            })?;
            Ok(summary_of(&summary))
        };
        let written = tokio::select! {
            biased;
            fault = ending.come() => Err(fault),
            written = compute.run(Lane::Shop, work) => written,
        };
        // Whoever writes still finds that nobody wants more.
        drop(go_on);
        let last = match written {
            Ok(summary) => Ok(M::summary(summary)),
            Err(fault) => Err(fault.into()),
        };
        // A client that is gone hears nothing.
        let _ = answers.send(last).await;
    });
    ReceiverStream::new(receiver)
}

/// Takes an archive that comes in, and the job that it holds.
pub(super) async fn take(
    shop: Arc<Shop>,
    ending: Ending,
    inbound: Streaming<ImportJobRequest>,
) -> Result<ImportJobResponse, Fault> {
    let idle = shop.limits().idle;
    let mut chunks = Chunks {
        inbound,
        ending,
        idle,
    };
    let validate_only = chunks.open().await?.validate_only;
    let mut file = keep(&mut chunks, ARCHIVE_BYTES_MAX).await?;
    let worker = Arc::clone(&shop);
    let taken = shop.compute().run(Lane::Shop, move || {
        carry::import(&worker, &mut file, validate_only)
    });
    let Imported {
        job,
        summary,
        known_record_count,
    } = taken.await?;
    Ok(ImportJobResponse {
        job: name::job(&job),
        summary: Some(summary_of(&summary)),
        known_record_count,
    })
}

impl FileMessage for ImportJobRequest {
    type Open = OpenImport;

    fn piece(self) -> Option<Piece<OpenImport>> {
        Some(match self.message? {
            import_job_request::Message::Open(open) => Piece::Open(open),
            import_job_request::Message::Chunk(chunk) => Piece::Chunk(chunk),
        })
    }
}

fn summary_of(summary: &Summary) -> ArchiveSummary {
    let heads = summary.streams.iter().map(|(name, head)| (name, *head));
    ArchiveSummary {
        stream_count: summary.streams.len() as u64,
        record_count: summary.record_count,
        blob_count: summary.blobs.len() as u64,
        file_bytes: summary.file_bytes,
        sha256: summary.sha256.to_string(),
        head: ledger_check::head_over(heads).to_string(),
    }
}

/// Gathers bytes into chunks and hands them on, waiting while the other side is slow.
struct Outbound<M> {
    sender: mpsc::Sender<Result<M, Status>>,
    /// Closed when nothing more is wanted.
    is_over: oneshot::Receiver<()>,
    held: Vec<u8>,
}

impl<M: ArchiveMessage> Write for Outbound<M> {
    fn write(&mut self, buffer: &[u8]) -> io::Result<usize> {
        let room = ARCHIVE_CHUNK_BYTES - self.held.len();
        let count = room.min(buffer.len());
        self.held.extend_from_slice(&buffer[..count]);
        if self.held.len() == ARCHIVE_CHUNK_BYTES {
            self.flush()?;
        }
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        if self.held.is_empty() {
            return Ok(());
        }
        if matches!(self.is_over.try_recv(), Err(TryRecvError::Closed)) {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        let chunk = std::mem::replace(&mut self.held, Vec::with_capacity(ARCHIVE_CHUNK_BYTES));
        let sent = self.sender.blocking_send(Ok(M::chunk(chunk)));
        sent.map_err(|_| io::ErrorKind::BrokenPipe.into())
    }
}
