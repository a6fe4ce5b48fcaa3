//! What the machine itself can do: decoding alone, syncs alone, messages over loopback alone.

use std::fs::File;
use std::io::Write as _;
use std::time::{Duration, Instant};

use baytrim_api::v1::SampleBatch;
use prost::Message as _;
use tokio_stream::wrappers::TcpListenerStream;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;

use crate::shared::bay::{Pace, batch};
use crate::shared::spread;

const TIME: Duration = Duration::from_secs(1);
/// Bytes between two syncs where many writers share them.
const SHARED_BYTES: usize = 1 << 20;

pub(crate) async fn print(repeats: usize) {
    let mut encoded = batch(1, Pace::FASTEST.rows).encode_to_vec();
    let bytes_per_row = encoded.len() as f64 / Pace::FASTEST.rows as f64;
    println!("a row of ten channels: {bytes_per_row:.1} bytes on the wire and on disk");
    let decode = (0..repeats).map(|_| decode_rows_per_s(&encoded));
    println!(
        "decoding alone, one thread: {} samples/s",
        spread(decode, 0)
    );
    encoded.resize(SHARED_BYTES, 0xa5);
    let writes: Vec<_> = (0..repeats).map(|_| syncs_per_s(&encoded)).collect();
    let rows = writes
        .iter()
        .map(|rate| rate * SHARED_BYTES as f64 / bytes_per_row);
    println!(
        "writing 1 MiB and fdatasync, again and again: {} a second, room for {} samples/s",
        spread(writes.iter().copied(), 0),
        spread(rows, 0)
    );
    let small = (0..repeats).map(|_| syncs_per_s(&encoded[..4096]));
    println!("writing 4 KiB and fdatasync: {} a second", spread(small, 0));
    let mut echoes = Vec::new();
    for _ in 0..repeats {
        echoes.push(echo_ms().await);
    }
    println!(
        "a call over loopback and back, one at a time: {} ms",
        spread(echoes.into_iter(), 3)
    );
}

fn decode_rows_per_s(encoded: &[u8]) -> f64 {
    let (began, mut rows) = (Instant::now(), 0);
    while began.elapsed() < TIME {
        rows += std::hint::black_box(SampleBatch::decode(encoded).unwrap())
            .offset_s
            .len();
    }
    rows as f64 / began.elapsed().as_secs_f64()
}

fn syncs_per_s(bytes: &[u8]) -> f64 {
    let directory = tempfile::tempdir().unwrap();
    let mut file = File::create(directory.path().join("floor")).unwrap();
    let (began, mut count) = (Instant::now(), 0);
    while began.elapsed() < TIME {
        file.write_all(bytes).unwrap();
        file.sync_data().unwrap();
        count += 1;
    }
    f64::from(count) / began.elapsed().as_secs_f64()
}

/// The median of calls to a service that does nothing.
async fn echo_ms() -> f64 {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    let (_, service) = tonic_health::server::health_reporter();
    let server = tonic::transport::Server::builder()
        .add_service(service)
        .serve_with_incoming(TcpListenerStream::new(listener));
    let server = tokio::spawn(server);
    let endpoint = tonic::transport::Endpoint::from_shared(url).unwrap();
    let mut client = HealthClient::new(endpoint.connect().await.unwrap());
    let mut waits = Vec::new();
    let began = Instant::now();
    while began.elapsed() < TIME {
        let sent = Instant::now();
        client.check(HealthCheckRequest::default()).await.unwrap();
        waits.push(sent.elapsed());
    }
    server.abort();
    waits.sort_unstable();
    waits[waits.len() / 2].as_secs_f64() * 1000.0
}
