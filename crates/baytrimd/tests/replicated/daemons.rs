//! Daemons as programs of their own, and what tests say to them.

use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::{AtomicU32, Ordering};

use baytrim_api::v1::upload_pull_request::Message;
use baytrim_api::v1::{OpenUpload, Pull, UploadPullRequest};
use tempfile::TempDir;
use tonic::Status;
use tonic::transport::Channel;

use crate::bearer::Bearer;
pub use crate::fixtures::{job, log};
use crate::running::Running;
pub(crate) use crate::running::{command, run};

static PLACES: AtomicU32 = AtomicU32::new(0);

#[expect(
    clippy::disallowed_methods,
    reason = "the script tells the tests where its database is"
)]
fn told(name: &str) -> String {
    std::env::var(name).unwrap_or_else(|_| panic!("{name} is not set; run tests/postgres/run.sh"))
}

/// A ledger of its own in the shared database, with an owner.
pub struct Ledger {
    pub url: String,
    pub home: TempDir,
    schema: String,
}

impl Ledger {
    /// Makes an empty one.
    pub fn empty() -> Self {
        let number = PLACES.fetch_add(1, Ordering::Relaxed);
        let schema = format!("d{}_{number}", std::process::id());
        sql(&format!("create schema {schema}"));
        Self {
            url: format!(
                "{}?options=-c%20search_path%3D{schema}",
                told("BAYTRIM_TEST_POSTGRES")
            ),
            home: tempfile::tempdir().unwrap(),
            schema,
        }
    }

    /// Makes one with an owner, whose token is in [`Ledger::token`].
    pub fn new() -> Self {
        let ledger = Self::empty();
        let file = ledger.token_file();
        let made = run(&[
            "owner",
            "first",
            "--store",
            &ledger.url,
            "--single-copy",
            "--token-file",
            file.to_str().unwrap(),
        ]);
        assert!(made.status.success(), "{}", words(&made));
        ledger
    }

    pub fn token_file(&self) -> PathBuf {
        self.home.path().join("owner.token")
    }

    pub fn token(&self) -> String {
        std::fs::read_to_string(self.token_file()).unwrap()
    }

    /// Returns what a query of the ledger gives.
    pub fn ask(&self, query: &str) -> String {
        sql(&format!("set search_path = {}; {query}", self.schema))
    }
}

impl Drop for Ledger {
    fn drop(&mut self) {
        sql(&format!("drop schema {} cascade", self.schema));
    }
}

fn sql(text: &str) -> String {
    let psql = Path::new(&told("BAYTRIM_TEST_POSTGRES_BIN")).join("psql");
    let output = Command::new(psql)
        .args([
            "-AtXq",
            "-v",
            "ON_ERROR_STOP=1",
            &told("BAYTRIM_TEST_POSTGRES"),
            "-c",
            text,
        ])
        .output()
        .unwrap();
    assert!(output.status.success(), "{text}: {}", words(&output));
    String::from_utf8(output.stdout).unwrap().trim().to_owned()
}

pub fn words(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// A daemon that serves; killed when dropped.
pub struct Daemon {
    running: Running,
    pub channel: Channel,
    pub bearer: Bearer,
    metrics: String,
}

impl Daemon {
    pub async fn on(ledger: &Ledger) -> Self {
        Self::start(&["--store", &ledger.url, "--single-copy"], &ledger.token()).await
    }

    /// Starts a daemon, and waits until it says where it listens.
    pub async fn start(place: &[&str], token: &str) -> Self {
        let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let metrics = port.local_addr().unwrap().to_string();
        drop(port);
        let running = Running::start(place, &[("BAYTRIM_METRICS_LISTEN", &metrics)]);
        let channel = Channel::from_shared(running.url.clone()).unwrap();
        let channel = channel.connect().await.unwrap();
        let bearer = Bearer::of(token);
        Self {
            running,
            channel,
            bearer,
            metrics,
        }
    }

    /// Returns a client of a service with the daemon's usual token.
    pub fn with<C>(&self, client: impl FnOnce(Channel, Bearer) -> C) -> C {
        client(self.channel.clone(), self.bearer.clone())
    }

    pub fn kill(&mut self) {
        self.running.signal("KILL");
    }

    /// Returns one figure that the daemon counts.
    pub fn figure(&self, name: &str) -> f64 {
        use std::io::Write as _;
        let mut stream = std::net::TcpStream::connect(&self.metrics).unwrap();
        write!(
            stream,
            "GET /metrics HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
        )
        .unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let line = answer
            .lines()
            .find(|line| line.starts_with(&format!("{name} ")));
        line.expect(&answer)
            .rsplit(' ')
            .next()
            .unwrap()
            .parse()
            .unwrap()
    }
}

/// Uploads the log of that name.
pub async fn upload(daemon: &Daemon, name: &str) -> Result<Pull, Status> {
    let open = OpenUpload {
        parent: "jobs/j".to_owned(),
        bay: "east".to_owned(),
        source_name: name.to_owned(),
        ..OpenUpload::default()
    };
    let chunks = log(name).into_bytes();
    let chunks = chunks
        .chunks(10_000)
        .map(|chunk| Message::Chunk(chunk.to_vec()));
    let messages = std::iter::once(Message::Open(open)).chain(chunks);
    let messages: Vec<_> = messages
        .map(|message| UploadPullRequest {
            message: Some(message),
        })
        .collect();
    let mut pulls =
        daemon.with(baytrim_api::v1::pull_service_client::PullServiceClient::with_interceptor);
    let uploaded = pulls.upload_pull(tokio_stream::iter(messages)).await?;
    Ok(uploaded.into_inner().pull.unwrap())
}
