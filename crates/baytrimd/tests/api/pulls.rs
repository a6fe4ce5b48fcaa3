//! Live pulls: break, resume, resend, take over, stop.

use std::sync::Arc;
use std::time::Duration;

use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use baytrim_api::v1::{
    FinishStream, OpenStream, Pull, SampleBatch, SampleColumn, StreamProgress, StreamPullRequest,
    StreamPullResponse,
};
use baytrim_ledger::{MemoryStore, Store as _};
use baytrimd::config::ServiceLimits;
use tokio::sync::mpsc;
use tokio_stream::wrappers::UnboundedReceiverStream;
use tonic::{Status, Streaming};

use crate::harness::{
    Daemon, SOMEBODY, log, metadata, rows, token_of, told, upload_of, with_token,
};

/// A connection of a live pull.
pub struct Line {
    pub durable: u64,
    sender: mpsc::UnboundedSender<StreamPullRequest>,
    answers: Streaming<StreamPullResponse>,
}

impl Line {
    pub async fn open(daemon: &Daemon, open: OpenStream) -> Self {
        Self::try_open(daemon, open).await.unwrap()
    }

    pub async fn try_open(daemon: &Daemon, open: OpenStream) -> Result<Self, Status> {
        Self::try_open_as(daemon, SOMEBODY, open).await
    }

    /// Opens a pull as somebody.
    pub async fn try_open_as(
        daemon: &Daemon,
        name: &str,
        open: OpenStream,
    ) -> Result<Self, Status> {
        Self::try_open_with(daemon, token_of(name).text(), open).await
    }

    /// Opens a pull with a token.
    pub async fn try_open_with(
        daemon: &Daemon,
        token: &str,
        open: OpenStream,
    ) -> Result<Self, Status> {
        let (mut line, first) = Self::begin(daemon, token, open).await?;
        match first {
            Out::Opened(opened) => line.durable = opened.durable_sequence_number,
            other => panic!("{other:?}"),
        }
        Ok(line)
    }

    /// Opens a pull that was finished before and returns it.
    pub async fn reopen_finished(daemon: &Daemon, open: OpenStream) -> Pull {
        let token = token_of(SOMEBODY);
        match Self::begin(daemon, token.text(), open).await.unwrap().1 {
            Out::Finished(pull) => pull,
            other => panic!("{other:?}"),
        }
    }

    async fn begin(daemon: &Daemon, token: &str, open: OpenStream) -> Result<(Self, Out), Status> {
        let (sender, receiver) = mpsc::unbounded_channel();
        sender.send(message(In::Open(open))).unwrap();
        let messages = with_token(token, UnboundedReceiverStream::new(receiver));
        let answers = daemon.pulls().stream_pull(messages).await?.into_inner();
        let mut line = Self {
            durable: 0,
            sender,
            answers,
        };
        let first = line.answer().await?;
        Ok((line, first))
    }

    pub fn send(&mut self, batch: SampleBatch) {
        self.sender.send(message(In::Batch(batch))).unwrap();
    }

    pub async fn progress(&mut self) -> StreamProgress {
        match self.answer().await.unwrap() {
            Out::Progress(progress) => progress,
            other => panic!("{other:?}"),
        }
    }

    /// Waits until `durable` is durable.
    pub async fn until(&mut self, durable: u64) -> StreamProgress {
        loop {
            let progress = self.progress().await;
            if progress.durable_sequence_number >= durable {
                return progress;
            }
        }
    }

    /// Returns how the connection ends, passing over progress.
    pub async fn end(mut self) -> Result<Pull, Status> {
        loop {
            match self.answer().await? {
                Out::Progress(_) => {}
                Out::Finished(pull) => return Ok(pull),
                Out::Opened(opened) => panic!("{opened:?}"),
            }
        }
    }

    pub async fn try_finish(self) -> Result<Pull, Status> {
        self.sender
            .send(message(In::Finish(FinishStream {})))
            .unwrap();
        self.end().await
    }

    pub async fn finish(self) -> Pull {
        self.try_finish().await.unwrap()
    }

    /// Ends the client's side without a word.
    pub async fn hang_up(self) -> Result<Pull, Status> {
        let Self {
            durable,
            sender,
            answers,
        } = self;
        drop(sender);
        let (unused, _) = mpsc::unbounded_channel();
        Self {
            durable,
            sender: unused,
            answers,
        }
        .end()
        .await
    }

    async fn answer(&mut self) -> Result<Out, Status> {
        let answer = self.answers.message().await?;
        Ok(answer.expect("an answer before the end").message.unwrap())
    }
}

fn message(message: In) -> StreamPullRequest {
    StreamPullRequest {
        message: Some(message),
    }
}

pub fn open_of(job: &str) -> OpenStream {
    OpenStream {
        parent: format!("jobs/{job}"),
        bay: "east".to_owned(),
        request_id: "pull-0001".to_owned(),
        ..OpenStream::default()
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "the wire has single precision"
)]
pub fn batch(sequence_number: u64, rows: &[[f64; 4]]) -> SampleBatch {
    let column = |quantity: &str, index: usize| SampleColumn {
        quantity: quantity.to_owned(),
        values: rows.iter().map(|row| row[index] as f32).collect(),
    };
    SampleBatch {
        sequence_number,
        offset_s: rows.iter().map(|row| row[0]).collect(),
        columns: vec![
            column("engine_speed", 1),
            column("plate_angle", 2),
            column("lambda", 3),
        ],
    }
}

/// Returns `rows` in batches of fifty, numbered from `first`.
pub fn batches(rows: &[[f64; 4]], first: u64) -> Vec<SampleBatch> {
    (first..)
        .zip(rows.chunks(50))
        .map(|(number, rows)| batch(number, rows))
        .collect()
}

/// If this fails, a live pull says something else than the very same rows in a file, or its log can't
/// be read by a stranger.
#[tokio::test]
async fn a_live_pull_is_worth_what_its_log_is_worth() {
    let store = MemoryStore::new();
    let daemon = Daemon::with(Arc::new(store.clone()), ServiceLimits::default()).await;
    daemon.open_job("j").await;
    let mut line = Line::open(&daemon, open_of("j")).await;
    for batch in batches(&rows(), 1) {
        line.send(batch);
    }
    let progress = line.until(48).await;
    assert_eq!(progress.sample_count, 2400);
    assert_eq!(progress.visited_node_count, 12);
    assert!(progress.accepted_s > 60.0, "{progress:?}");
    let live = line.finish().await;
    let blob = store
        .read_blob(&live.log_sha256.parse().unwrap(), 1 << 20)
        .unwrap();
    assert_eq!(String::from_utf8(blob).unwrap(), log());
    daemon.open_job("k").await;
    let filed = daemon
        .upload(upload_of("k"), log().as_bytes())
        .await
        .unwrap();
    assert_eq!(live.log_sha256, filed.log_sha256);
    assert_eq!(
        (live.accepted_s, &live.refused, &live.coverage),
        (filed.accepted_s, &filed.refused, &filed.coverage)
    );
    assert!(
        store.spools().unwrap().is_empty(),
        "the spool of a finished pull stays"
    );
    daemon.stop().await;
}

/// If this fails, a broken connection costs acknowledged batches, or resent ones count twice.
#[tokio::test]
async fn a_broken_pull_goes_on_where_it_was() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let all = batches(&rows(), 1);
    let mut line = Line::open(&daemon, open_of("j")).await;
    for batch in &all[..10] {
        line.send(batch.clone());
    }
    line.until(10).await;
    assert_eq!(told(line.hang_up().await), "Aborted STREAM_UNFINISHED");
    let mut line = Line::open(&daemon, open_of("j")).await;
    assert_eq!(line.durable, 10);
    // A careful sender sends some again.
    for batch in &all[5..] {
        line.send(batch.clone());
    }
    let progress = line.until(48).await;
    assert_eq!(progress.sample_count, 2400);
    let pull = line.finish().await;
    assert_eq!(pull.sample_count, 2400);
    assert_eq!(Line::reopen_finished(&daemon, open_of("j")).await, pull);
    assert_eq!(pull.name, "jobs/j/pulls/p1");
    daemon.stop().await;
}

/// If this fails, two connections write one pull at once, or a bay must wait for its dead connection.
#[tokio::test]
async fn a_newer_connection_takes_over() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let mut older = Line::open(&daemon, open_of("j")).await;
    older.send(batch(1, &rows()[..50]));
    older.progress().await;
    let mut newer = Line::open(&daemon, open_of("j")).await;
    assert_eq!(newer.durable, 1);
    let status = older.end().await.unwrap_err();
    assert_eq!(metadata(&status, "durable_sequence_number"), "1");
    assert_eq!(told(Err::<(), _>(status)), "Aborted STREAM_SUPERSEDED");
    newer.send(batch(2, &rows()[50..100]));
    assert_eq!(newer.progress().await.durable_sequence_number, 2);
    newer.finish().await;
    daemon.stop().await;
}

/// If this fails, live pulls beyond the limit starve those that are on.
#[tokio::test]
async fn pulls_beyond_the_limit_are_turned_away() {
    let limits = ServiceLimits {
        streams_max: 1,
        ..ServiceLimits::default()
    };
    let daemon = Daemon::with(Arc::new(MemoryStore::new()), limits).await;
    daemon.open_job("j").await;
    let _line = Line::open(&daemon, open_of("j")).await;
    let other = OpenStream {
        request_id: "pull-0002".to_owned(),
        ..open_of("j")
    };
    let status = Line::try_open(&daemon, other).await.err().unwrap();
    assert_eq!(told(Err::<(), _>(status)), "ResourceExhausted BUSY");
    // The same pull again takes the place of its older connection.
    let again = Line::open(&daemon, open_of("j")).await;
    drop(again);
    daemon.stop().await;
}

/// If this fails, a logger that fell silent holds its place for ever.
#[tokio::test]
async fn a_silent_pull_ends() {
    let limits = ServiceLimits {
        idle: Duration::from_millis(500),
        ..ServiceLimits::default()
    };
    let daemon = Daemon::with(Arc::new(MemoryStore::new()), limits).await;
    daemon.open_job("j").await;
    let mut line = Line::open(&daemon, open_of("j")).await;
    line.send(batch(1, &rows()[..50]));
    line.progress().await;
    let status = line.end().await.unwrap_err();
    assert_eq!(metadata(&status, "durable_sequence_number"), "1");
    assert_eq!(told(Err::<(), _>(status)), "DeadlineExceeded STREAM_IDLE");
    daemon.stop().await;
}

/// If this fails, a stopping daemon hangs on a live pull, or does not say what is durable.
#[tokio::test]
async fn a_stopping_daemon_says_what_is_durable() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let mut line = Line::open(&daemon, open_of("j")).await;
    line.send(batch(1, &rows()[..50]));
    line.progress().await;
    let (channel, serving) = daemon.stopping();
    let status = line.end().await.unwrap_err();
    assert_eq!(metadata(&status, "durable_sequence_number"), "1");
    assert_eq!(told(Err::<(), _>(status)), "Unavailable SHUTTING_DOWN");
    drop(channel);
    serving.await.unwrap().unwrap();
}

/// If this fails, a client that calls first and talks later waits for ever, or one that talks out of turn is heard.
#[tokio::test]
async fn the_first_message_opens() {
    let daemon = Daemon::start().await;
    let first = message(In::Batch(batch(1, &rows()[..50])));
    let messages = tokio_stream::iter([first]);
    let mut answers = daemon
        .pulls()
        .stream_pull(messages)
        .await
        .unwrap()
        .into_inner();
    assert_eq!(
        told(answers.message().await),
        "InvalidArgument STREAM_NOT_OPENED"
    );
    daemon.stop().await;
}
