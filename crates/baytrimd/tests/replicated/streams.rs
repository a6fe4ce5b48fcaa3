//! A live pull goes on at another daemon.

use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use baytrim_api::v1::{
    FinishStream, OpenStream, SampleBatch, SampleColumn, StreamPullRequest, StreamPullResponse,
};
use tokio::sync::mpsc;
use tokio_stream::wrappers::UnboundedReceiverStream;
use tonic::{Code, Status, Streaming};

use crate::daemons::{Daemon, Ledger, job};

/// One connection of a live pull.
struct Line {
    sender: mpsc::UnboundedSender<StreamPullRequest>,
    answers: Streaming<StreamPullResponse>,
}

impl Line {
    /// Opens the pull, and returns the highest batch that is durable.
    async fn open(daemon: &Daemon) -> (Self, u64) {
        let (sender, receiver) = mpsc::unbounded_channel();
        let mut pulls = daemon.with(PullServiceClient::with_interceptor);
        let open = OpenStream {
            parent: "jobs/j".to_owned(),
            bay: "east".to_owned(),
            request_id: "pull-0001".to_owned(),
            ..OpenStream::default()
        };
        let message = Some(In::Open(open));
        sender.send(StreamPullRequest { message }).unwrap();
        let messages = UnboundedReceiverStream::new(receiver);
        let answers = pulls.stream_pull(messages).await.unwrap().into_inner();
        let mut line = Self { sender, answers };
        match line.answer().await.unwrap() {
            Out::Opened(opened) => (line, opened.durable_sequence_number),
            other => panic!("{other:?}"),
        }
    }

    fn send(&self, message: In) {
        let message = Some(message);
        let _ = self.sender.send(StreamPullRequest { message });
    }

    async fn answer(&mut self) -> Result<Out, Status> {
        let answer = self.answers.message().await?;
        Ok(answer.expect("no end").message.unwrap())
    }

    /// Sends batches up to `last`, and waits until they are durable.
    async fn send_to(&mut self, first: u64, last: u64) {
        for number in first..=last {
            self.send(In::Batch(batch(number)));
        }
        loop {
            match self.answer().await.unwrap() {
                Out::Progress(progress) if progress.durable_sequence_number >= last => return,
                Out::Progress(_) => {}
                other => panic!("{other:?}"),
            }
        }
    }
}

fn batch(number: u64) -> SampleBatch {
    let column = |quantity: &str, value: f32| SampleColumn {
        quantity: quantity.to_owned(),
        values: vec![value; 10],
    };
    let number_s = u32::try_from(number).unwrap();
    let rows = (0..10).map(|row| f64::from(number_s * 10 + row) / 20.0);
    SampleBatch {
        sequence_number: number,
        offset_s: rows.collect(),
        columns: vec![
            column("engine_speed", 4000.0),
            column("plate_angle", 40.0),
            column("lambda", 0.93),
        ],
    }
}

/// If this fails, a live pull is lost with the daemon that it was begun at, or has a hole or a batch twice.
#[tokio::test]
async fn a_live_pull_goes_on_at_another_daemon() {
    let ledger = Ledger::new();
    let (mut a, b) = (Daemon::on(&ledger).await, Daemon::on(&ledger).await);
    a.with(JobServiceClient::with_interceptor)
        .create_job(job())
        .await
        .unwrap();
    let (mut first, durable) = Line::open(&a).await;
    assert_eq!(durable, 0);
    first.send_to(1, 30).await;
    // The network breaks, and the client finds the other daemon while the first still waits for it.
    let (mut second, durable) = Line::open(&b).await;
    assert_eq!(durable, 30);
    second.send_to(31, 40).await;
    first.send(In::Batch(batch(31)));
    let ended = loop {
        if let Err(status) = first.answer().await {
            break status;
        }
    };
    assert_eq!(ended.code(), Code::Aborted, "{ended:?}");
    // And back, after the other was killed in the middle of it.
    let (mut third, durable) = Line::open(&a).await;
    assert_eq!(durable, 40);
    for number in 41..=400 {
        third.send(In::Batch(batch(number)));
    }
    let mut acknowledged = 40;
    while acknowledged < 60 {
        if let Out::Progress(progress) = third.answer().await.unwrap() {
            acknowledged = progress.durable_sequence_number;
        }
    }
    a.kill();
    while let Ok(Out::Progress(progress)) = third.answer().await {
        acknowledged = progress.durable_sequence_number;
    }
    let (mut last, durable) = Line::open(&b).await;
    assert!(durable >= acknowledged, "{durable} of {acknowledged}");
    last.send_to(durable + 1, durable + 10).await;
    last.send(In::Finish(FinishStream {}));
    let Out::Finished(pull) = last.answer().await.unwrap() else {
        panic!("not finished");
    };
    assert_eq!(pull.sample_count, (durable + 10) * 10);
    assert_eq!(ledger.ask("select count(*) from baytrim_chunk"), "0");
}
