//! How many live pulls a daemon on a real disk takes, and how soon batches are durable.
//!
//! `cargo bench -p baytrimd --bench streams`: each bay sends batches of 50 rows as fast as it can, one at a
//! time, each only when the one before is durable; then the same with all batches sent at once.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::disallowed_methods,
    reason = "this is a benchmark"
)]

use std::sync::Arc;
use std::time::{Duration, Instant};

use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use baytrim_api::v1::{CreateJobRequest, OpenStream, SampleBatch, SampleColumn, StreamPullRequest};
use baytrim_ledger::Store;
use baytrim_ledger_local::{LocalStore, Options};
use baytrim_model::shop::Role;
use baytrimd::access::{Access, Token, found};
use baytrimd::config::ServiceLimits;
use baytrimd::server::{Serving, serve};
use tokio::sync::{mpsc, oneshot};
use tokio_stream::wrappers::UnboundedReceiverStream;
use tonic::metadata::{Ascii, MetadataValue};
use tonic::service::Interceptor;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::Channel;
use tonic::{Request, Status};

const BATCHES: u64 = 300;
const ROWS: u64 = 50;

/// A connection that shows a token with every call.
type Wire = InterceptedService<Channel, Bearer>;

#[derive(Clone)]
struct Bearer(MetadataValue<Ascii>);

impl Interceptor for Bearer {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        let token = self.0.clone();
        request.metadata_mut().insert("authorization", token);
        Ok(request)
    }
}

#[tokio::main]
async fn main() {
    let directory = tempfile::tempdir().unwrap();
    let ledger = directory.path().join("ledger");
    let (store, _) = LocalStore::open(&ledger, &Options::default()).unwrap();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    let (stop, stopped) = oneshot::channel::<()>();
    let store: Arc<dyn Store> = Arc::new(store);
    let access = Access::open(Arc::clone(&store), Some(directory.path())).unwrap();
    let token = Token::make().unwrap();
    found(&access, &token, &[Role::Tuner]).unwrap();
    let serving = Serving {
        store,
        limits: ServiceLimits::default(),
        access,
        tls: None,
        metrics: None,
        checkpoints: baytrimd::checkpoints::Checkpointing::default(),
        webhook: None,
    };
    let served = tokio::spawn(serve(serving, listener, async {
        let _ = stopped.await;
    }));
    let channel = Channel::from_shared(url).unwrap().connect().await.unwrap();
    let header = format!("Bearer {}", token.text()).parse().unwrap();
    let channel = Wire::new(channel, Bearer(header));
    let request = CreateJobRequest {
        job_id: "j".to_owned(),
        job_file: baytrim_jobs::job_file::EXAMPLE.to_owned(),
        ..CreateJobRequest::default()
    };
    JobServiceClient::new(channel.clone())
        .create_job(request)
        .await
        .unwrap();
    for (bays, is_paced) in [(1, true), (4, true), (16, true), (1, false), (16, false)] {
        measure(&channel, bays, is_paced).await;
    }
    drop(channel);
    stop.send(()).unwrap();
    served.await.unwrap().unwrap();
}

async fn measure(channel: &Wire, bays: u64, is_paced: bool) {
    let began = Instant::now();
    let tasks: Vec<_> = (0..bays)
        .map(|bay| {
            tokio::spawn(pull(
                channel.clone(),
                format!("{is_paced}-{bays}-bay-{bay:04}"),
                is_paced,
            ))
        })
        .collect();
    let mut waits = Vec::new();
    for task in tasks {
        waits.extend(task.await.unwrap());
    }
    let elapsed_s = began.elapsed().as_secs_f64();
    waits.sort();
    let at = |share: f64| waits[(waits.len() as f64 * share) as usize].as_secs_f64() * 1000.0;
    let rows = (bays * BATCHES * ROWS) as f64;
    let how = if is_paced {
        "one at a time"
    } else {
        "all at once"
    };
    print!(
        "{bays:>2} bays, {how}: {:>8.0} samples/s, {:>6.0} batches/s",
        rows / elapsed_s,
        rows / elapsed_s / ROWS as f64
    );
    if is_paced {
        print!(
            ", durable after {:.1} ms (median), {:.1} ms (99 %)",
            at(0.5),
            at(0.99)
        );
    }
    println!();
}

async fn pull(channel: Wire, name: String, is_paced: bool) -> Vec<Duration> {
    let (sender, receiver) = mpsc::unbounded_channel();
    let send = |message| {
        let message = Some(message);
        sender.send(StreamPullRequest { message }).unwrap();
    };
    send(In::Open(OpenStream {
        parent: "jobs/j".to_owned(),
        bay: "east".to_owned(),
        request_id: name,
        ..OpenStream::default()
    }));
    let messages = UnboundedReceiverStream::new(receiver);
    let mut pulls = PullServiceClient::new(channel);
    let mut answers = pulls.stream_pull(messages).await.unwrap().into_inner();
    answers.message().await.unwrap().unwrap();
    let mut waits = Vec::new();
    if !is_paced {
        (1..=BATCHES).for_each(|number| send(In::Batch(batch(number))));
    }
    let mut durable = 0;
    while durable < BATCHES {
        let sent = Instant::now();
        if is_paced {
            send(In::Batch(batch(durable + 1)));
        }
        let answer = answers.message().await.unwrap().unwrap();
        let Some(Out::Progress(progress)) = answer.message else {
            panic!("{answer:?}");
        };
        durable = progress.durable_sequence_number;
        waits.push(sent.elapsed());
    }
    waits
}

fn batch(number: u64) -> SampleBatch {
    let column = |quantity: &str, value: f32| SampleColumn {
        quantity: quantity.to_owned(),
        values: vec![value; ROWS as usize],
    };
    let rows = (0..ROWS).map(|row| (number * ROWS + row) as f64 / 1000.0);
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
