//! A live pull that goes on at whichever daemon is there.

use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use baytrim_api::v1::{
    FinishStream, OpenStream, Pull, SampleBatch, SampleColumn, StreamPullRequest,
    StreamPullResponse,
};
use tokio::sync::Mutex;
use tokio::sync::mpsc;
use tokio_stream::wrappers::UnboundedReceiverStream;
use tonic::{Status, Streaming};

use crate::anywhere::{Shop, Wire};
use crate::bearer::Bearer;

const BATCHES: u64 = 30;
const ROWS: u64 = 20;

/// Streams a pull to its end, over as many daemons as it takes.
pub(crate) async fn pull(shop: &Shop, bearer: &Bearer, job: &str, name: &str) -> Pull {
    let open = OpenStream {
        parent: format!("jobs/{job}"),
        bay: "east".to_owned(),
        request_id: format!("stream-{name}"),
        ..OpenStream::default()
    };
    let durable = Mutex::new(0);
    let phase: u32 = name.bytes().map(u32::from).sum();
    let finished = shop.anywhere("stream", bearer, async |wire| {
        go_on(shop, wire, open.clone(), phase, &mut *durable.lock().await).await
    });
    let pull = finished.await.unwrap();
    if pull.sample_count != BATCHES * ROWS {
        let wrong = format!("{}: {} rows", pull.name, pull.sample_count);
        shop.note(|history| history.wrong.push(wrong));
    }
    pull
}

async fn go_on(
    shop: &Shop,
    wire: Wire,
    open: OpenStream,
    phase: u32,
    durable: &mut u64,
) -> Result<Pull, Status> {
    let (sender, receiver) = mpsc::unbounded_channel();
    let send = |message| {
        let message = Some(message);
        let _ = sender.send(StreamPullRequest { message });
    };
    let name = open.request_id.clone();
    send(In::Open(open));
    let messages = UnboundedReceiverStream::new(receiver);
    let mut answers = PullServiceClient::new(wire)
        .stream_pull(messages)
        .await?
        .into_inner();
    let mut sent = 0;
    loop {
        let told = match next(&mut answers).await? {
            Out::Finished(pull) => return Ok(pull),
            Out::Opened(opened) => {
                sent = opened.durable_sequence_number;
                sent
            }
            Out::Progress(progress) => progress.durable_sequence_number,
        };
        shop.note(|history| {
            if told < *durable {
                history
                    .wrong
                    .push(format!("{name}: {told} of {durable} batches are left"));
            }
            history.figures.batches += told.saturating_sub(*durable);
        });
        *durable = told;
        if told == BATCHES {
            send(In::Finish(FinishStream {}));
        }
        // A few at a time, so that faults find batches in every state.
        while sent < (told + 5).min(BATCHES) {
            sent += 1;
            send(In::Batch(batch(sent, phase)));
        }
    }
}

async fn next(answers: &mut Streaming<StreamPullResponse>) -> Result<Out, Status> {
    let answer = answers.message().await?;
    let answer = answer.ok_or_else(|| Status::unavailable("the stream ended"))?;
    Ok(answer.message.unwrap())
}

/// Another one for every number and phase.
fn batch(number: u64, phase: u32) -> SampleBatch {
    let column = |quantity: &str, values: Vec<f32>| SampleColumn {
        quantity: quantity.to_owned(),
        values,
    };
    let rows = ((number - 1) * ROWS)..(number * ROWS);
    let lambda = rows.clone().map(|row| {
        let waver = (phase as f32 + row as f32 * 0.7).sin();
        0.95_f32 * (1.04 + 0.004 * waver)
    });
    SampleBatch {
        sequence_number: number,
        offset_s: rows.clone().map(|row| row as f64 / 20.0).collect(),
        columns: vec![
            column("engine_speed", vec![4000.0; rows.clone().count()]),
            column("plate_angle", vec![40.0; rows.clone().count()]),
            column("lambda", lambda.collect()),
        ],
    }
}
