//! A log or an archive on its way to the server.

use std::future::Future;
use std::path::Path;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use tokio_stream::wrappers::ReceiverStream;
use tonic::transport::Channel;
use tonic::{Code, Request, Response, Status};

use crate::client::{LONG, Server};
use crate::failure::Failure;
use crate::log_reader::stream_log;

/// How a log becomes messages: what opens it, and what carries some of its bytes.
pub(crate) struct Wrapping<M> {
    /// First message.
    pub(crate) open: M,
    /// Makes a message of bytes.
    pub(crate) chunk: fn(Vec<u8>) -> M,
}

/// Sends one log to the method that `call` names; again from its start, under the same request name,
/// while no server answers. Progress is drawn where `draws_progress` says so.
pub(crate) async fn send<M, R, F, C>(
    server: &Server,
    log: &Path,
    wrapping: &Wrapping<M>,
    draws_progress: bool,
    call: C,
) -> Result<R, Failure>
where
    M: Clone + Send + 'static,
    F: Future<Output = Result<Response<R>, Status>>,
    C: Fn(Channel, Request<ReceiverStream<M>>) -> F,
{
    let size = tokio::fs::metadata(log).await;
    let size = size.map_err(|error| Failure::file("read the log", log, &error))?;
    let progress = progress_bar(size.len(), log, draws_progress);
    let trouble = std::sync::Mutex::new(None);
    let answer = server.attempt(LONG, || {
        progress.set_position(0);
        let stream = stream_log(log, wrapping.open.clone(), wrapping.chunk, progress.clone());
        let request = server.request(stream.messages, LONG);
        let answer = call(server.channel(), request);
        let trouble = &trouble;
        async move {
            tokio::select! {
                biased;
                Ok(failure) = stream.trouble => {
                    if let Ok(mut trouble) = trouble.lock() {
                        *trouble = Some(failure);
                    }
                    Err(Status::new(Code::Cancelled, "the log could not be read to its end"))
                }
                answer = answer => answer,
            }
        }
    });
    let answer = answer.await;
    progress.finish_and_clear();
    if let Some(failure) = trouble.into_inner().ok().flatten() {
        return Err(failure);
    }
    answer
}

/// Returns the name that messages call the log by.
pub(crate) fn file_name(log: &Path) -> String {
    log.file_name()
        .unwrap_or(log.as_os_str())
        .to_string_lossy()
        .into_owned()
}

fn progress_bar(bytes: u64, log: &Path, is_drawn: bool) -> ProgressBar {
    let target = if is_drawn {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let bar = ProgressBar::with_draw_target(Some(bytes), target);
    let template = "{msg}  {bar:30}  {bytes} of {total_bytes}, {eta} left";
    let style = ProgressStyle::with_template(template);
    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar.set_message(
        log.file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned(),
    );
    bar
}
