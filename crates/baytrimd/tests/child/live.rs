//! A live pull as its bay sees it: messages out, answers in.

use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use baytrim_api::v1::{OpenStream, StreamPullRequest, StreamPullResponse};
use tokio::sync::mpsc::{self, UnboundedSender};
use tokio_stream::wrappers::UnboundedReceiverStream;
use tonic::{Status, Streaming};

use super::Wire;

/// One connection to a live pull.
pub(crate) struct Live {
    sender: UnboundedSender<StreamPullRequest>,
    answers: Streaming<StreamPullResponse>,
}

impl Live {
    /// Begins a pull of the bay `east`, or goes on with it; the first answer tells which.
    pub(crate) async fn open(wire: &Wire, job: &str, request_id: &str) -> Result<Self, Status> {
        let (sender, receiver) = mpsc::unbounded_channel();
        let open = In::Open(OpenStream {
            parent: format!("jobs/{job}"),
            bay: "east".to_owned(),
            request_id: request_id.to_owned(),
            ..OpenStream::default()
        });
        say(&sender, open);
        let messages = UnboundedReceiverStream::new(receiver);
        let mut pulls = PullServiceClient::new(wire.clone());
        let answers = pulls.stream_pull(messages).await?.into_inner();
        Ok(Self { sender, answers })
    }

    /// Sends a message, which nobody hears where the connection is gone.
    pub(crate) fn send(&self, message: In) {
        say(&self.sender, message);
    }

    /// Waits for the next answer.
    pub(crate) async fn next(&mut self) -> Result<Out, Status> {
        let answer = self.answers.message().await?;
        let answer = answer.ok_or_else(|| Status::unavailable("the stream ended"))?;
        Ok(answer.message.unwrap())
    }
}

fn say(sender: &UnboundedSender<StreamPullRequest>, message: In) {
    let message = Some(message);
    let _ = sender.send(StreamPullRequest { message });
}
