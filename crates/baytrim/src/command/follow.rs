//! Streams that go on until somebody ends them: opened again after every break, from where they stood.

use std::time::Duration;

use tokio::time::{sleep, timeout};
use tonic::{Code, Request, Status, Streaming};
use tonic_types::StatusExt as _;

use crate::client::{QUICK, Server};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;

/// Silence after which a connection counts as broken: the server speaks every 15 s.
const SILENCE_MAX: Duration = Duration::from_secs(45);

/// Pauses before a stream is opened again; the last one goes on for ever.
const PAUSES: [Duration; 5] = [
    Duration::from_millis(200),
    Duration::from_secs(1),
    Duration::from_secs(2),
    Duration::from_secs(5),
    Duration::from_secs(10),
];

/// What is followed.
pub(crate) trait Followed {
    /// What comes.
    type Answer;

    /// Opens the stream from where it stood.
    async fn open(&self, server: &Server) -> Result<Streaming<Self::Answer>, Status>;

    /// Takes what came; returns whether to go on.
    ///
    /// # Errors
    /// When it cannot be written.
    fn take(&mut self, answer: Self::Answer, context: &mut Context<'_>) -> Result<bool, Failure>;
}

/// Returns `message` with who asks, and no time by which all must be told.
pub(crate) fn endless<M>(server: &Server, message: M) -> Request<M> {
    let mut request = server.request(message, QUICK);
    request.metadata_mut().remove("grpc-timeout");
    request
}

/// Follows until `followed` has enough or somebody presses Ctrl-C.
///
/// # Errors
/// When the server refuses, or does not answer at the very first time.
pub(crate) async fn follow<F: Followed>(
    followed: &mut F,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    tokio::select! {
        ended = follow_on(followed, context) => ended,
        _ = tokio::signal::ctrl_c() => Ok(Exit::Done),
    }
}

async fn follow_on<F: Followed>(
    followed: &mut F,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let mut was_heard = false;
    let mut tries = 0;
    loop {
        let mut is_heard = false;
        let heard = listen(followed, &server, context, &mut is_heard).await?;
        let Some(broken) = heard else {
            return Ok(Exit::Done);
        };
        was_heard |= is_heard;
        let is_refusal = broken.get_error_details().error_info().is_some();
        if !was_heard || (is_refusal && !is_passing(broken.code())) {
            return Err(Failure::of_status(&broken, server.url()));
        }
        tries = if is_heard { 0 } else { tries + 1 };
        if tries == 0 {
            context.tell("The connection broke; going on as soon as the server answers.");
        }
        sleep(PAUSES[tries.min(PAUSES.len() - 1)]).await;
    }
}

/// Returns whether a refusal is one that passes by itself.
fn is_passing(code: Code) -> bool {
    matches!(code, Code::Unavailable | Code::ResourceExhausted)
}

/// Listens until `followed` has enough, then returns none, or until the stream breaks.
async fn listen<F: Followed>(
    followed: &mut F,
    server: &Server,
    context: &mut Context<'_>,
    is_heard: &mut bool,
) -> Result<Option<Status>, Failure> {
    let silent = || Status::unavailable("nothing came for too long");
    let opened = timeout(SILENCE_MAX, followed.open(server)).await;
    let mut stream = match opened {
        Ok(Ok(stream)) => stream,
        Ok(Err(status)) => return Ok(Some(status)),
        Err(_) => return Ok(Some(silent())),
    };
    loop {
        match timeout(SILENCE_MAX, stream.message()).await {
            Ok(Ok(Some(answer))) => {
                *is_heard = true;
                if !followed.take(answer, context)? {
                    return Ok(None);
                }
            }
            Ok(Ok(None)) => return Ok(Some(Status::unavailable("the server ended the stream"))),
            Ok(Err(status)) => return Ok(Some(status)),
            Err(_) => return Ok(Some(silent())),
        }
    }
}
