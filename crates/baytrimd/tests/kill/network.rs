//! The real program behind a network that cuts, holds back and swallows, while clients record through it.
//!
//! The long form: `BAYTRIM_NETWORK_S=300 cargo test -p baytrimd --test kill network -- --nocapture`.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::tcp::{OwnedReadHalf, OwnedWriteHalf};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::Instant;

use crate::child::Program;
use crate::client::Client;
use crate::{Random, setting};

const CLIENTS: u64 = 4;
/// Longest that a proxy lets a connection live.
const LIFE: Duration = Duration::from_secs(2);

/// What becomes of bytes in one direction, after some that pass.
#[derive(Clone, Copy)]
enum Fault {
    /// All pass.
    None,
    /// The connection is cut, in the middle of whatever it is.
    Cut,
    /// Nothing passes any more, and nobody is told: half-open.
    Silence,
    /// Few at a time, late: what loss and reordering below TCP look like from above.
    Trickle,
}

const KINDS: usize = 6;
const NAMES: [&str; KINDS] = [
    "cut after its time",
    "cut on the way there",
    "cut on the way back",
    "half-open, both ways",
    "half-open, there only",
    "a trickle",
];

fn faults(kind: usize) -> [Fault; 2] {
    match kind {
        0 => [Fault::None; 2],
        1 => [Fault::Cut, Fault::None],
        2 => [Fault::None, Fault::Cut],
        3 => [Fault::Silence; 2],
        4 => [Fault::Silence, Fault::None],
        _ => [Fault::Trickle; 2],
    }
}

/// Starts the proxy; returns its address and how many connections met each kind.
async fn proxy(target: SocketAddr, seed: u64) -> (SocketAddr, Arc<[AtomicU64; KINDS]>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let met: Arc<[AtomicU64; KINDS]> = Arc::default();
    let counted = Arc::clone(&met);
    tokio::spawn(async move {
        let mut random = Random::new(seed);
        while let Ok((client, _)) = listener.accept().await {
            let kind = usize::try_from(random.within(0..KINDS as u64)).unwrap();
            counted[kind].fetch_add(1, Ordering::Relaxed);
            // Early enough to hit opening, late enough to hit whatever comes after.
            let pass = random.within(0..30_000);
            let seed = random.within(1..u64::from(u32::MAX));
            tokio::spawn(serve(client, target, (kind, pass, seed)));
        }
    });
    (address, met)
}

async fn serve(client: TcpStream, target: SocketAddr, (kind, pass, seed): (usize, u64, u64)) {
    let Ok(server) = TcpStream::connect(target).await else {
        return;
    };
    let (from_client, to_client) = client.into_split();
    let (from_server, to_server) = server.into_split();
    let [there, back] = faults(kind);
    let both = async {
        tokio::select! {
            () = pump(from_client, to_server, (there, pass), Random::new(seed)) => {}
            () = pump(from_server, to_client, (back, pass / 4), Random::new(seed + 1)) => {}
        }
    };
    // A silence outlives the patience of clients: they have to notice by themselves.
    let life = if matches!(there, Fault::Silence) {
        LIFE * 3
    } else {
        LIFE
    };
    let _ = tokio::time::timeout(life, both).await;
}

/// Passes bytes on; returns when the connection is to be cut.
async fn pump(
    mut from: OwnedReadHalf,
    mut to: OwnedWriteHalf,
    (fault, mut left): (Fault, u64),
    mut random: Random,
) {
    let mut buffer = vec![0; 16 << 10];
    loop {
        let most = match fault {
            Fault::Trickle => usize::try_from(random.within(1..700)).unwrap(),
            _ => buffer.len(),
        };
        let Ok(count @ 1..) = from.read(&mut buffer[..most]).await else {
            return;
        };
        let passed = match fault {
            Fault::None => count,
            Fault::Trickle => {
                tokio::time::sleep(Duration::from_micros(random.within(0..4000))).await;
                count
            }
            Fault::Cut | Fault::Silence => count.min(usize::try_from(left).unwrap()),
        };
        left = left.saturating_sub(count as u64);
        if to.write_all(&buffer[..passed]).await.is_err()
            || passed < count && matches!(fault, Fault::Cut)
        {
            return;
        }
    }
}

/// If this fails, a bad network loses, halves or doubles what was acknowledged, or clients can't go on.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_bad_network_costs_nothing_that_was_acknowledged() {
    let (seconds, seed) = (
        setting("BAYTRIM_NETWORK_S", 8),
        setting("BAYTRIM_KILL_SEED", 1),
    );
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let program = Program::start(&data);
    let line = program.listening().unwrap();
    let (address, met) = proxy(line.address(), seed).await;
    let end = Instant::now() + Duration::from_secs(seconds);
    let tasks = (0..CLIENTS).map(|number| {
        let line = line.through(address);
        tokio::spawn(async move {
            let mut client = Client::new(number, seed);
            while Instant::now() < end {
                client = client.work(line.clone()).await;
            }
            client
        })
    });
    let tasks: Vec<_> = tasks.collect();
    let mut sums = [0; 4];
    for task in tasks {
        let client = task.await.unwrap();
        client.check_everything(&line, &data).await;
        for (sum, count) in sums.iter_mut().zip(client.counts()) {
            *sum += count;
        }
    }
    let [jobs, pulls, batches, resumed] = sums;
    let met: Vec<u64> = met
        .iter()
        .map(|count| count.load(Ordering::Relaxed))
        .collect();
    for (name, count) in NAMES.iter().zip(&met) {
        println!("{count} connections: {name}");
    }
    println!(
        "acknowledged: {jobs} jobs, {pulls} pulls, {batches} batches; {resumed} pulls gone on with"
    );
    assert!(
        pulls > 0 && batches > 0 && resumed > 0 && met.iter().sum::<u64>() > 5,
        "too little happened to be a test"
    );
}
