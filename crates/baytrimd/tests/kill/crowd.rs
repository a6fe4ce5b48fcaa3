//! The real program with more callers than it can serve: connections that say nothing, floods, readers that stop.
//!
//! The long form: `BAYTRIM_IDLE=10000 cargo test -p baytrimd --test kill crowd -- --nocapture`; each end of a connection
//! takes one of the files that its process may have open (`ulimit -n`).

use std::collections::BTreeMap;
use std::time::Duration;

use baytrim_api::v1::CreateProposalRequest;
use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use tokio::io::AsyncWriteExt as _;
use tokio::net::TcpStream;
use tokio::time::{Instant, timeout};
use tonic::Code;

use crate::child::live::Live;
use crate::child::{Line, Program};
use crate::client::{Client, batch};
use crate::setting;

/// What an HTTP/2 client says first (RFC 9113, section 3.4): the preface and empty SETTINGS.
const PREFACE: &[u8] = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\0\0\0\x04\0\0\0\0\0";
/// Beyond the keep-alive of the daemon: 20 s until it asks, 10 s that it waits.
const FORGOTTEN_AFTER: Duration = Duration::from_secs(45);

async fn worked(line: &Line, pulls: u64) -> Client {
    Client::new(0, 1).until(line, pulls).await
}

/// If this fails, callers that connect and say nothing cost much memory each, or keep others from being served.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn silent_connections_cost_little_and_are_dropped_in_the_end() {
    let count = setting("BAYTRIM_IDLE", 400);
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let program = Program::start(&data);
    let line = program.listening().unwrap();
    worked(&line, 1).await;
    let (memory, files) = (program.resident_kb(), program.open_count());
    let mut silent = Vec::new();
    for _ in 0..count {
        let mut socket = TcpStream::connect(line.address()).await.unwrap();
        socket.write_all(PREFACE).await.unwrap();
        silent.push(socket);
    }
    let open = async {
        // Connections of before are closed meanwhile.
        while program.open_count() + 5 < files + silent.len() {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    timeout(Duration::from_secs(15), open).await.unwrap();
    let each_kb = (program.resident_kb().saturating_sub(memory)) as f64 / count as f64;
    println!("{count} connections that say nothing: {each_kb:.1} KB each");
    assert!(each_kb < 200.0, "{each_kb} KB for each");
    let client = Client::new(1, 1).until(&line, 2).await;
    client.check_everything(&line, &data).await;
    if count > 1000 {
        let began = Instant::now();
        while program.open_count() > files + 50 {
            assert!(began.elapsed() < FORGOTTEN_AFTER, "they are kept for ever");
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
        println!("all dropped {:.0} s later", began.elapsed().as_secs_f64());
    }
}

/// If this fails, a flood of heavy requests is queued without end, or a bay that streams meanwhile has to wait for it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_flood_is_turned_away_while_a_bay_streams_on() {
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let program = Program::start(&data);
    let line = program.listening().unwrap();
    worked(&line, 1).await;
    let memory = program.resident_kb();
    let streaming = tokio::spawn(stream(line.clone(), 200, true));
    let mut calls = Vec::new();
    for _ in 0..8 {
        let wire = line.connect().await;
        calls.extend((0..100).map(|_| {
            let mut corrections = CorrectionServiceClient::new(wire.clone());
            tokio::spawn(async move {
                let request = CreateProposalRequest {
                    parent: "jobs/c0-0".to_owned(),
                    ..CreateProposalRequest::default()
                };
                match corrections.create_proposal(request).await {
                    Ok(_) => Code::Ok,
                    Err(status) => status.code(),
                }
            })
        }));
    }
    let mut codes: BTreeMap<String, u64> = BTreeMap::new();
    for call in calls {
        *codes
            .entry(format!("{:?}", call.await.unwrap()))
            .or_default() += 1;
    }
    println!("800 requests at once: {codes:?}");
    assert!(codes.contains_key("ResourceExhausted"), "{codes:?}");
    assert_eq!(streaming.await.unwrap(), 200);
    assert!(program.resident_kb() < memory + 200_000, "memory grew");
}

/// If this fails, a client that sends and never reads fills the daemon's memory, or loses what it sent.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_client_that_stops_reading_costs_no_memory() {
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let program = Program::start(&data);
    let line = program.listening().unwrap();
    worked(&line, 1).await;
    let memory = program.resident_kb();
    let stuck = tokio::spawn(stream(line.clone(), 3000, false));
    let client = Client::new(1, 1).until(&line, 3).await;
    client.check_everything(&line, &data).await;
    assert_eq!(stuck.await.unwrap(), 3000);
    assert!(program.resident_kb() < memory + 100_000, "memory grew");
}

/// Streams batches into one pull; returns how many were durable in the end. `is_reading`: each is waited for; else
/// nothing is read until all were handed over.
async fn stream(line: Line, count: u64, is_reading: bool) -> u64 {
    let wire = line.connect().await;
    let mut live = Live::open(&wire, "c0-0", "steady-pull").await.unwrap();
    let mut durable = 0;
    if !is_reading {
        (1..=count).for_each(|number| live.send(In::Batch(batch(number, 50.0))));
        tokio::time::sleep(Duration::from_secs(2)).await;
    }
    let mut sent = if is_reading { 0 } else { count };
    while durable < count {
        match live.next().await.unwrap() {
            Out::Opened(_) => {}
            Out::Progress(progress) => durable = progress.durable_sequence_number,
            other @ Out::Finished(_) => panic!("{other:?}"),
        }
        if durable == sent && sent < count {
            sent += 1;
            live.send(In::Batch(batch(sent, 50.0)));
        }
    }
    durable
}
