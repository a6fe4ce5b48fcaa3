//! A file comes in chunk by chunk, after a first message that says what it is.
//!
//! Chunks go straight to a blob or a temporary file, so that memory is that of a few of them.

use std::fs::File;
use std::io::{Seek as _, SeekFrom, Write as _};
use std::time::Duration;

use baytrim_api::v1::{
    OpenSuggestion, OpenUpload, SuggestChannelsRequest, UploadPullRequest,
    suggest_channels_request, upload_pull_request,
};
use baytrim_ledger::{BlobId, BlobWriter};
use tokio::sync::mpsc;
use tonic::Streaming;

use super::message_fault;
use crate::compute::blocking;
use crate::ending::Ending;
use crate::fault::{Fault, InternalFault};
use crate::limits::{PULL_MESSAGE_BYTES_MAX, STREAM_QUEUE_MAX, UPLOAD_CHUNK_BYTES_MAX};
use crate::live::StreamFault;

/// One message of a file that comes in.
pub(super) enum Piece<O> {
    /// What the file is.
    Open(O),
    /// Its next bytes.
    Chunk(Vec<u8>),
}

/// A message that opens a file or carries some of it.
pub(super) trait FileMessage {
    /// What says what the file is.
    type Open;

    /// Returns what the message is; none where it is nothing.
    fn piece(self) -> Option<Piece<Self::Open>>;
}

impl FileMessage for UploadPullRequest {
    type Open = OpenUpload;

    fn piece(self) -> Option<Piece<OpenUpload>> {
        Some(match self.message? {
            upload_pull_request::Message::Open(open) => Piece::Open(open),
            upload_pull_request::Message::Chunk(chunk) => Piece::Chunk(chunk),
        })
    }
}

impl FileMessage for SuggestChannelsRequest {
    type Open = OpenSuggestion;

    fn piece(self) -> Option<Piece<OpenSuggestion>> {
        Some(match self.message? {
            suggest_channels_request::Message::Open(open) => Piece::Open(open),
            suggest_channels_request::Message::Chunk(chunk) => Piece::Chunk(chunk),
        })
    }
}

/// Writes the chunks into a blob on a blocking thread; a queue between stops the sender when the disk is slow.
pub(super) async fn store<M: FileMessage>(
    chunks: &mut Chunks<M>,
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

/// Takes the chunks into a temporary file without a name, to be read from its start.
pub(super) async fn keep<M: FileMessage>(
    chunks: &mut Chunks<M>,
    bytes_max: u64,
) -> Result<File, Fault> {
    let file = blocking(|| Ok(tempfile::tempfile().map_err(InternalFault::Temporary)?)).await?;
    let scratch = Scratch(file.try_clone().map_err(InternalFault::Temporary)?);
    store(chunks, Box::new(scratch), bytes_max).await?;
    blocking(move || {
        let mut file = file;
        file.seek(SeekFrom::Start(0))
            .map_err(InternalFault::Temporary)?;
        Ok(file)
    })
    .await
}

/// A blob that is none: a temporary file.
struct Scratch(File);

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

/// The messages of a file that comes in.
pub(super) struct Chunks<M> {
    pub(super) inbound: Streaming<M>,
    pub(super) ending: Ending,
    pub(super) idle: Duration,
}

impl<M: FileMessage> Chunks<M> {
    /// Returns the first message, which must say what the file is.
    pub(super) async fn open(&mut self) -> Result<M::Open, Fault> {
        match self.message().await? {
            Some(Piece::Open(open)) => Ok(open),
            _ => Err(StreamFault::NotOpened.into()),
        }
    }

    async fn next(&mut self) -> Result<Option<Vec<u8>>, Fault> {
        match self.message().await? {
            None => Ok(None),
            Some(Piece::Open(_)) => Err(StreamFault::OpenedTwice.into()),
            Some(Piece::Chunk(chunk)) if chunk.len() > UPLOAD_CHUNK_BYTES_MAX => {
                Err(Fault::TooLarge {
                    what: "a chunk".to_owned(),
                    max: UPLOAD_CHUNK_BYTES_MAX as u64,
                    remedy: "send smaller chunks",
                })
            }
            Some(Piece::Chunk(chunk)) => Ok(Some(chunk)),
        }
    }

    async fn message(&mut self) -> Result<Option<Piece<M::Open>>, Fault> {
        let idle = self.idle;
        let message = tokio::select! {
            biased;
            fault = self.ending.come() => return Err(fault),
            message = self.inbound.message() => message,
            () = tokio::time::sleep(idle) => return Err(Fault::Idle { idle_s: idle.as_secs() }),
        };
        match message {
            Ok(None) => Ok(None),
            Ok(Some(message)) => match message.piece() {
                Some(piece) => Ok(Some(piece)),
                None => Err(StreamFault::MessageEmpty.into()),
            },
            Err(status) => Err(message_fault(&status, PULL_MESSAGE_BYTES_MAX)),
        }
    }
}
