//! A log as a stream of upload messages.

use std::path::Path;

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
pub(crate) struct LogStream<M> {
    /// The messages, opening first.
    pub(crate) messages: ReceiverStream<M>,
    /// Resolves when reading failed. The messages do not end then, so that the server never takes
    /// a part of a log for the whole.
    pub(crate) trouble: oneshot::Receiver<Failure>,
}

/// Returns the log at `path` as it is being read: first `open`, then what `chunk` makes of its bytes;
/// `progress` counts them.
pub(crate) fn stream_log<M: Send + 'static>(
    path: &Path,
    open: M,
    chunk: fn(Vec<u8>) -> M,
    progress: ProgressBar,
) -> LogStream<M> {
    let (sender, receiver) = mpsc::channel(WAITING_MAX);
    let (trouble_sender, trouble) = oneshot::channel();
    let path = path.to_owned();
    tokio::spawn(async move {
        let read = send_log(&path, open, chunk, &progress, &sender).await;
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

async fn send_log<M>(
    path: &Path,
    open: M,
    chunk: fn(Vec<u8>) -> M,
    progress: &ProgressBar,
    sender: &mpsc::Sender<M>,
) -> Result<(), Failure> {
    let trouble = |error: std::io::Error| Failure::file("read the log", path, &error);
    let mut file = File::open(path).await.map_err(trouble)?;
    let mut message = open;
    loop {
        // A closed channel means that the server has answered already: its answer says why.
        if sender.send(message).await.is_err() {
            return Ok(());
        }
        let mut bytes = vec![0; CHUNK_BYTES];
        let count = file.read(&mut bytes).await.map_err(trouble)?;
        if count == 0 {
            return Ok(());
        }
        bytes.truncate(count);
        progress.inc(count as u64);
        message = chunk(bytes);
    }
}
