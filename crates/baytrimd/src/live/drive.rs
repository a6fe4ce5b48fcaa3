//! The async side of a live pull: messages in, answers out, and whatever ends it.

use std::sync::Arc;
use std::time::Duration;

use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use baytrim_api::v1::{
    OpenStream, SampleBatch, StreamOpened, StreamPullRequest, StreamPullResponse,
};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinSet;
use tonic::{Status, Streaming};

use super::StreamFault;
use super::registry::Streams;
use super::session::{self, Opened, Session};
use crate::compute::blocking;
use crate::convert;
use crate::convert::request::Submitter;
use crate::ending::Ending;
use crate::fault::Fault;
use crate::limits::{PULL_MESSAGE_BYTES_MAX, STREAM_QUEUE_MAX};
use crate::metrics::Counted;
use crate::services::message_fault;
use crate::shop::Shop;
use crate::status;

/// Where answers go.
pub(super) type Answers = mpsc::Sender<Result<StreamPullResponse, Status>>;

/// Serves one connection of a live pull until it ends, and tells why.
pub(crate) async fn run(
    shop: Arc<Shop>,
    streams: Streams,
    ending: Ending,
    by: Submitter,
    inbound: Streaming<StreamPullRequest>,
    answers: Answers,
) {
    let idle = shop.limits().idle;
    let mut line = Line::new(inbound, answers.clone(), ending, idle);
    if let Err(fault) = serve(shop, streams, by, &mut line).await {
        // A client that is gone hears nothing; one that does not read is not waited for.
        let _ = tokio::time::timeout(idle, answers.send(Err(status::of(&fault)))).await;
    }
}

async fn serve(
    shop: Arc<Shop>,
    streams: Streams,
    by: Submitter,
    line: &mut Line,
) -> Result<(), Fault> {
    let opening = convert::stream::opening(&first(line).await?)?;
    by.check(&opening.bay)?;
    let (opening, by) = (Arc::new(opening), Arc::new(by));
    {
        let (shop, opening, by) = (Arc::clone(&shop), Arc::clone(&opening), Arc::clone(&by));
        blocking(move || session::check_hand(&shop, &opening, &by)).await?;
    }
    let claim = streams.claim(&opening.request_id.0).await?;
    // Dropped before the claim, so that whoever takes over finds the room free.
    let _room = streams.admit()?;
    let _counted = Counted::new(&shop.metrics().live_pulls);
    line.superseded = Some(claim.superseded());
    let opened = {
        let shop = Arc::clone(&shop);
        blocking(move || Session::open(shop, &opening, &by)).await?
    };
    let mut session = match opened {
        Opened::Live(session) => session,
        Opened::Finished(decided) => return line.answer(finished(&decided)?).await,
    };
    line.durable = session.durable();
    let durable_sequence_number = line.durable;
    line.answer(Out::Opened(StreamOpened {
        durable_sequence_number,
    }))
    .await?;
    loop {
        let group = Group::of(line.next().await?);
        if !group.batches.is_empty() {
            let taken;
            (session, taken) = blocking(move || {
                let taken = session.take(group.batches);
                Ok((session, taken))
            })
            .await?;
            line.durable = session.durable();
            line.answer(Out::Progress(session.progress())).await?;
            taken?;
        }
        match group.end {
            None => {}
            Some(End::Fault(fault)) => return Err(fault),
            Some(End::Closed) => {
                let durable = line.durable;
                return Err(StreamFault::Unfinished { durable }.into());
            }
            Some(End::Finish) => {
                let lane = session.lane();
                let decided = shop.compute().run(lane, move || session.finish()).await?;
                return line.answer(finished(&decided)?).await;
            }
        }
    }
}

fn finished(decided: &crate::shop::Decided) -> Result<Out, Fault> {
    convert::pull::of_outcome(decided).map(Out::Finished)
}

async fn first(line: &mut Line) -> Result<OpenStream, Fault> {
    let message = line.one().await?;
    match message {
        Some(In::Open(open)) => Ok(open),
        Some(_) => Err(StreamFault::NotOpened.into()),
        None => Err(StreamFault::MessageEmpty.into()),
    }
}

/// Messages that came together: batches, then perhaps what ends the pull.
struct Group {
    batches: Vec<SampleBatch>,
    end: Option<End>,
}

enum End {
    Finish,
    Closed,
    Fault(Fault),
}

impl Group {
    fn of(messages: Vec<Result<StreamPullRequest, Fault>>) -> Self {
        let mut group = Self {
            batches: Vec::new(),
            end: None,
        };
        if messages.is_empty() {
            group.end = Some(End::Closed);
        }
        for message in messages {
            let end = match message.map(|message| message.message) {
                Ok(Some(In::Batch(batch))) => {
                    group.batches.push(batch);
                    continue;
                }
                Ok(Some(In::Finish(_))) => End::Finish,
                Ok(Some(In::Open(_))) => End::Fault(StreamFault::OpenedTwice.into()),
                Ok(None) => End::Fault(StreamFault::MessageEmpty.into()),
                Err(fault) => End::Fault(fault),
            };
            group.end = Some(end);
            break;
        }
        group
    }
}

/// The connection: bounded on both sides, so that a slow disk stops the sender and a client that
/// does not read stops itself.
struct Line {
    messages: mpsc::Receiver<Result<StreamPullRequest, Fault>>,
    answers: Answers,
    ending: Ending,
    superseded: Option<watch::Receiver<bool>>,
    idle: Duration,
    durable: u64,
    _reader: JoinSet<()>,
}

impl Line {
    fn new(
        mut inbound: Streaming<StreamPullRequest>,
        answers: Answers,
        ending: Ending,
        idle: Duration,
    ) -> Self {
        let (sender, messages) = mpsc::channel(STREAM_QUEUE_MAX);
        let mut reader = JoinSet::new();
        reader.spawn(async move {
            while let Some(message) = inbound.message().await.transpose() {
                let message =
                    message.map_err(|status| message_fault(&status, PULL_MESSAGE_BYTES_MAX));
                let is_last = message.is_err();
                if sender.send(message).await.is_err() || is_last {
                    return;
                }
            }
        });
        Self {
            messages,
            answers,
            ending,
            superseded: None,
            idle,
            durable: 0,
            _reader: reader,
        }
    }

    /// Returns the next message alone.
    async fn one(&mut self) -> Result<Option<In>, Fault> {
        let (ending, idle) = (self.ending.clone(), self.idle);
        let message = tokio::select! {
            biased;
            fault = ended(ending, None, idle, 0) => return Err(fault),
            message = self.messages.recv() => message,
        };
        match message {
            Some(message) => Ok(message?.message),
            None => Err(StreamFault::NotOpened.into()),
        }
    }

    /// Returns the messages that wait, at least one; none when the client has ended its side.
    async fn next(&mut self) -> Result<Vec<Result<StreamPullRequest, Fault>>, Fault> {
        let mut messages = Vec::with_capacity(STREAM_QUEUE_MAX);
        let end = ended(
            self.ending.clone(),
            self.superseded.clone(),
            self.idle,
            self.durable,
        );
        tokio::select! {
            biased;
            fault = end => Err(fault),
            _ = self.messages.recv_many(&mut messages, STREAM_QUEUE_MAX) => Ok(messages),
        }
    }

    async fn answer(&mut self, message: Out) -> Result<(), Fault> {
        let message = Some(message);
        let send = self.answers.send(Ok(StreamPullResponse { message }));
        let end = ended(
            self.ending.clone(),
            self.superseded.clone(),
            self.idle,
            self.durable,
        );
        let durable = self.durable;
        tokio::select! {
            biased;
            sent = send => sent.map_err(|_| StreamFault::Unfinished { durable }.into()),
            fault = end => Err(fault),
        }
    }
}

/// Waits for whatever ends a connection that is otherwise well.
async fn ended(
    mut ending: Ending,
    superseded: Option<watch::Receiver<bool>>,
    idle: Duration,
    durable: u64,
) -> Fault {
    let superseded = async {
        match superseded {
            // A closed channel means that nobody can take over any more.
            Some(mut superseded) => {
                let is_ours = superseded.wait_for(|superseded| *superseded).await.is_err();
                if is_ours {
                    std::future::pending::<()>().await;
                }
            }
            None => std::future::pending().await,
        }
    };
    let fault = tokio::select! {
        biased;
        () = superseded => StreamFault::Superseded { durable },
        fault = ending.come() => match fault {
            Fault::Access(fault) => StreamFault::ShutOut { fault, durable },
            _ => StreamFault::Stopping { durable },
        },
        () = tokio::time::sleep(idle) => StreamFault::Idle { idle_s: idle.as_secs(), durable },
    };
    fault.into()
}
