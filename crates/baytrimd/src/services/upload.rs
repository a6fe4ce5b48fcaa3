//! A finished log comes in chunk by chunk and becomes a pull.
//!
//! Chunks go straight to the store, so that memory is that of a few of them. A log that is refused
//! leaves no record; its blob stays, unnamed, until the store's owner clears such blobs away.

use std::io::{Seek as _, SeekFrom, Write as _};
use std::sync::Arc;
use std::time::Duration;

use baytrim_api::v1::upload_pull_request::Message;
use baytrim_api::v1::{OpenUpload, Pull, UploadPullRequest};
use baytrim_jobs::pulls::{self, Circumstances};
use baytrim_jobs::{JobState, Refusal};
use baytrim_ledger::{BlobId, BlobWriter};
use baytrim_model::ids::{Actor, JobId};
use tokio::sync::{mpsc, watch};
use tonic::Streaming;

use super::message_fault;
use crate::clock;
use crate::compute::blocking;
use crate::convert::{name, pull, request};
use crate::fault::{Fault, InternalFault};
use crate::intake;
use crate::limits::{
    PULL_MESSAGE_BYTES_MAX, SOURCE_NAME_BYTES_MAX, STREAM_QUEUE_MAX, UPLOAD_CHUNK_BYTES_MAX,
};
use crate::live::StreamFault;
use crate::shop::{Author, Decided, Shop};

/// What an upload is.
struct Upload {
    job: JobId,
    author: Author,
    circumstances: Circumstances,
    source_name: String,
}

/// What opening an upload came to.
enum Opened {
    Wanted(Box<Upload>),
    Recorded(Box<Decided>),
}

/// Takes a log and returns the pull that it became.
pub(super) async fn take(
    shop: Arc<Shop>,
    stop: watch::Receiver<bool>,
    by: Actor,
    inbound: Streaming<UploadPullRequest>,
) -> Result<Pull, Fault> {
    let mut chunks = Chunks {
        inbound,
        stop,
        idle: shop.limits().idle,
    };
    let open = chunks.open().await?;
    let validate_only = open.validate_only;
    let opened = {
        let shop = Arc::clone(&shop);
        blocking(move || begin(&shop, by, open)).await?
    };
    let upload = match opened {
        Opened::Recorded(decided) => return pull::of_outcome(&decided),
        Opened::Wanted(upload) => upload,
    };
    if validate_only {
        return check(shop, chunks, *upload).await;
    }
    let writer = {
        let shop = Arc::clone(&shop);
        blocking(move || Ok(shop.store().begin_blob()?)).await?
    };
    let log = store(&mut chunks, writer, shop.limits().upload_bytes_max).await?;
    let worker = Arc::clone(&shop);
    let work = move || {
        let Upload {
            job,
            author,
            circumstances,
            source_name,
        } = *upload;
        intake::record(&worker, &job, &author, &circumstances, &source_name, log)
    };
    pull::of_outcome(&shop.compute().run(work).await?)
}

fn begin(shop: &Shop, by: Actor, open: OpenUpload) -> Result<Opened, Fault> {
    let id = name::parse_job("open.parent", &open.parent)?;
    let author = request::author(by, &open.request_id)?;
    let source_name = source_name(&open.source_name)?;
    let job = shop.job(&id)?;
    match job.state.outcome(author.request_id.as_ref()) {
        Some(outcome) if intake::is_pull(outcome) => {
            return Ok(Opened::Recorded(Box::new(Decided {
                job,
                outcome,
                is_repeat: true,
            })));
        }
        Some(_) => return Err(Refusal::RequestIdReused(open.request_id).into()),
        None => {}
    }
    let circumstances = circumstances(&job.state, &open)?;
    Ok(Opened::Wanted(Box::new(Upload {
        job: id,
        author,
        circumstances,
        source_name,
    })))
}

fn circumstances(state: &JobState, open: &OpenUpload) -> Result<Circumstances, Refusal> {
    let map = intake::channel_map(state, &open.bay, &open.channel_map)?;
    pulls::circumstances(state, &open.bay, &open.revision, map)
}

/// Returns the name that messages call the log by.
fn source_name(text: &str) -> Result<String, Refusal> {
    let text = if text.is_empty() { "log" } else { text };
    if text.len() <= SOURCE_NAME_BYTES_MAX && !text.chars().any(char::is_control) {
        return Ok(text.to_owned());
    }
    Err(Refusal::field(
        "open.source_name",
        format!("is {} bytes long or holds control characters", text.len()),
        format!("send the file's name, {SOURCE_NAME_BYTES_MAX} bytes at the most"),
    ))
}

/// Writes the chunks into a blob on a blocking thread; a queue between stops the sender when the disk is slow.
async fn store(
    chunks: &mut Chunks,
    mut writer: Box<dyn BlobWriter>,
    bytes_max: u64,
) -> Result<BlobId, Fault> {
    let (sender, mut queue) = mpsc::channel::<Vec<u8>>(STREAM_QUEUE_MAX);
    let (finish, finished) = tokio::sync::oneshot::channel::<()>();
    let work = tokio::task::spawn_blocking(move || {
        while let Some(chunk) = queue.blocking_recv() {
            writer.write(&chunk)?;
        }
        // Without the word that the log has come to its end, the blob is dropped and leaves nothing.
        if finished.blocking_recv().is_err() {
            return Err(Fault::Cut);
        }
        Ok(writer.commit()?)
    });
    let mut bytes = 0;
    while let Some(chunk) = chunks.next().await? {
        bytes += chunk.len() as u64;
        if bytes > bytes_max {
            return Err(Fault::TooLarge {
                what: "the log".to_owned(),
                max: bytes_max,
                remedy: "pack it with gzip, cut it into several pulls, or raise limits.upload_bytes_max",
            });
        }
        if sender.send(chunk).await.is_err() {
            break;
        }
    }
    drop(sender);
    // A writer that has failed does not listen; what it says comes next.
    let _ = finish.send(());
    work.await?
}

/// Reads a log that is not to be recorded, from a temporary file without a name.
async fn check(shop: Arc<Shop>, mut chunks: Chunks, upload: Upload) -> Result<Pull, Fault> {
    let bytes_max = shop.limits().upload_bytes_max;
    let file = blocking(|| Ok(tempfile::tempfile().map_err(InternalFault::Temporary)?)).await?;
    let log = store(
        &mut chunks,
        Box::new(Scratch(file.try_clone().map_err(InternalFault::Temporary)?)),
        bytes_max,
    );
    log.await?;
    let worker = Arc::clone(&shop);
    let work = move || {
        let mut file = file;
        file.seek(SeekFrom::Start(0))
            .map_err(InternalFault::Temporary)?;
        let job = worker.job(&upload.job)?;
        let name = &upload.source_name;
        let reading = intake::read(&job.state, &upload.circumstances, &mut file, name)?;
        let (axes, by) = (&job.state.spec.axes, &upload.author.by);
        let summary = &reading.summary;
        Ok(pull::checked(
            axes,
            &upload.circumstances,
            name,
            summary,
            by,
            clock::now(),
        ))
    };
    shop.compute().run(work).await
}

/// A blob that is none: a temporary file.
struct Scratch(std::fs::File);

impl BlobWriter for Scratch {
    fn write(&mut self, bytes: &[u8]) -> Result<(), baytrim_ledger::BlobError> {
        let written = self.0.write_all(bytes);
        written.map_err(|source| {
            baytrim_ledger::StoreFault::from_io("writing a temporary file", source).into()
        })
    }

    fn commit(self: Box<Self>) -> Result<BlobId, baytrim_ledger::BlobError> {
        Ok(BlobId(baytrim_ledger::Hash::ZERO))
    }
}

/// The messages of an upload.
struct Chunks {
    inbound: Streaming<UploadPullRequest>,
    stop: watch::Receiver<bool>,
    idle: Duration,
}

impl Chunks {
    async fn open(&mut self) -> Result<OpenUpload, Fault> {
        match self.message().await? {
            Some(Message::Open(open)) => Ok(open),
            _ => Err(StreamFault::NotOpened.into()),
        }
    }

    async fn next(&mut self) -> Result<Option<Vec<u8>>, Fault> {
        match self.message().await? {
            None => Ok(None),
            Some(Message::Open(_)) => Err(StreamFault::OpenedTwice.into()),
            Some(Message::Chunk(chunk)) if chunk.len() > UPLOAD_CHUNK_BYTES_MAX => {
                Err(Fault::TooLarge {
                    what: "a chunk".to_owned(),
                    max: UPLOAD_CHUNK_BYTES_MAX as u64,
                    remedy: "send smaller chunks",
                })
            }
            Some(Message::Chunk(chunk)) => Ok(Some(chunk)),
        }
    }

    async fn message(&mut self) -> Result<Option<Message>, Fault> {
        let idle = self.idle;
        let message = tokio::select! {
            biased;
            _ = self.stop.wait_for(|stopping| *stopping) => return Err(Fault::Stopping),
            message = self.inbound.message() => message,
            () = tokio::time::sleep(idle) => return Err(Fault::Idle { idle_s: idle.as_secs() }),
        };
        match message {
            Ok(None) => Ok(None),
            Ok(Some(message)) => match message.message {
                Some(message) => Ok(Some(message)),
                None => Err(StreamFault::MessageEmpty.into()),
            },
            Err(status) => Err(message_fault(&status, PULL_MESSAGE_BYTES_MAX)),
        }
    }
}
