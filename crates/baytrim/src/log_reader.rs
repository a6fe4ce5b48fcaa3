//! A log as a stream of upload messages.

use std::path::Path;

use baytrim_api::v1::upload_pull_request::Message;
use baytrim_api::v1::{OpenUpload, UploadPullRequest};
use indicatif::ProgressBar;
use tokio::fs::File;
use tokio::io::AsyncReadExt as _;
use tokio::sync::{mpsc, oneshot};
use tokio_stream::wrappers::ReceiverStream;

use crate::failure::Failure;

/// Bytes of one message: small enough to show progress, large enough not to matter.
const CHUNK_BYTES: usize = 256 * 1024;

/// Messages that wait for the network; more would only hold memory.
const WAITING_MAX: usize = 4;

/// A log on its way.
pub(crate) struct LogStream {
    /// The messages, opening first.
    pub(crate) messages: ReceiverStream<UploadPullRequest>,
    /// Resolves when reading failed. The messages do not end then, so that the server never takes
    /// a part of a log for the whole.
    pub(crate) trouble: oneshot::Receiver<Failure>,
}

/// Returns the log at `path` as it is being read; `progress` counts its bytes.
pub(crate) fn stream_log(path: &Path, open: OpenUpload, progress: ProgressBar) -> LogStream {
    let (sender, receiver) = mpsc::channel(WAITING_MAX);
    let (trouble_sender, trouble) = oneshot::channel();
    let path = path.to_owned();
    tokio::spawn(async move {
        let read = send_log(&path, open, &progress, &sender).await;
        if let Err(failure) = read {
            let _nobody_waits = trouble_sender.send(failure);
            sender.closed().await;
        }
    });
    LogStream {
        messages: ReceiverStream::new(receiver),
        trouble,
    }
}

async fn send_log(
    path: &Path,
    open: OpenUpload,
    progress: &ProgressBar,
    sender: &mpsc::Sender<UploadPullRequest>,
) -> Result<(), Failure> {
    let trouble = |error: std::io::Error| Failure::file("read the log", path, &error);
    let mut file = File::open(path).await.map_err(trouble)?;
    let mut message = Message::Open(open);
    loop {
        // A closed channel means that the server has answered already: its answer says why.
        if sender
            .send(UploadPullRequest {
                message: Some(message),
            })
            .await
            .is_err()
        {
            return Ok(());
        }
        let mut chunk = vec![0; CHUNK_BYTES];
        let count = file.read(&mut chunk).await.map_err(trouble)?;
        if count == 0 {
            return Ok(());
        }
        chunk.truncate(count);
        progress.inc(count as u64);
        message = Message::Chunk(chunk);
    }
}
