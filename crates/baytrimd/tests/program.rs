//! The program as such: killed, stopped, misconfigured.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "these are tests")]

mod bearer;
mod running;

use std::path::Path;

use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use baytrim_api::v1::{
    CreateJobRequest, FinishStream, ListPullsRequest, OpenStream, SampleBatch, SampleColumn,
    StreamPullRequest, StreamPullResponse,
};
use tokio::sync::mpsc;
use tokio_stream::wrappers::UnboundedReceiverStream;
use tonic::Streaming;
use tonic::transport::Channel;

use bearer::Bearer;
use running::{Running, run};

/// The program, serving a directory; killed when dropped.
struct Program {
    running: Running,
    url: String,
    bearer: Bearer,
}

async fn connect(url: &str) -> Channel {
    let endpoint = Channel::from_shared(url.to_owned()).unwrap();
    endpoint.connect().await.unwrap()
}

impl Program {
    fn start(data: &Path) -> Self {
        let running = Running::start(&["--data", data.to_str().unwrap()], &[]);
        let token = std::fs::read_to_string(data.join("owner.token")).unwrap();
        Self {
            url: running.url.clone(),
            bearer: Bearer::of(&token),
            running,
        }
    }

    /// Sends a signal and waits for the end; returns the exit code, none after a kill.
    async fn signal(mut self, name: &'static str) -> Option<i32> {
        let end = move || self.running.signal(name);
        tokio::task::spawn_blocking(end).await.unwrap()
    }
}

fn job_file() -> String {
    "
name = \"Invented 125\"
engine = { strokes = 4, displacement_cc = 125.0, cylinders = 1 }
fuel = { name = \"petrol\", stoichiometric_afr = 14.3 }
axes = { rpm = [3000, 9000], plate_percent = [20, 80] }
table = { content = \"percent\", values = [[0, 0], [0, 0]] }
target = { lambda = 0.9 }
bays = { east = {} }
"
    .to_owned()
}

fn batch(number: u32) -> SampleBatch {
    let column = |quantity: &str, value: f32| SampleColumn {
        quantity: quantity.to_owned(),
        values: vec![value; 10],
    };
    let rows = (0..10).map(|row| f64::from(number * 10 + row) / 20.0);
    SampleBatch {
        sequence_number: number.into(),
        offset_s: rows.collect(),
        columns: vec![
            column("engine_speed", 4000.0),
            column("plate_angle", 40.0),
            column("lambda", 0.93),
        ],
    }
}

struct Line {
    sender: mpsc::UnboundedSender<StreamPullRequest>,
    answers: Streaming<StreamPullResponse>,
}

impl Line {
    async fn open(program: &Program) -> (Self, Out) {
        let (sender, receiver) = mpsc::unbounded_channel();
        let mut pulls = PullServiceClient::with_interceptor(
            connect(&program.url).await,
            program.bearer.clone(),
        );
        let messages = UnboundedReceiverStream::new(receiver);
        let answers = pulls.stream_pull(messages).await.unwrap().into_inner();
        let mut line = Self { sender, answers };
        line.send(In::Open(OpenStream {
            parent: "jobs/j".to_owned(),
            bay: "east".to_owned(),
            request_id: "pull-0001".to_owned(),
            ..OpenStream::default()
        }));
        let first = line.answer().await.unwrap();
        (line, first)
    }

    fn send(&self, message: In) {
        let message = Some(message);
        self.sender.send(StreamPullRequest { message }).unwrap();
    }

    async fn answer(&mut self) -> Option<Out> {
        self.answers.message().await.ok()??.message
    }
}

/// If this fails, a daemon that is killed without warning loses batches or records that it acknowledged.
#[tokio::test]
async fn what_is_acknowledged_survives_a_kill() {
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let mut program = Program::start(&data);
    let mut jobs =
        JobServiceClient::with_interceptor(connect(&program.url).await, program.bearer.clone());
    let request = CreateJobRequest {
        job_id: "j".to_owned(),
        job_file: job_file(),
        ..CreateJobRequest::default()
    };
    jobs.create_job(request).await.unwrap();
    let mut acknowledged = 0;
    for round in 1..=3_u64 {
        let (mut line, first) = Line::open(&program).await;
        let Out::Opened(opened) = first else {
            panic!("{first:?}");
        };
        let durable = opened.durable_sequence_number;
        assert!(
            durable >= acknowledged,
            "round {round}: {durable} of {acknowledged} are left"
        );
        // Keeps sending while the kill comes at whatever moment it comes.
        for number in durable + 1..=durable + 200 {
            line.send(In::Batch(batch(u32::try_from(number).unwrap())));
        }
        while acknowledged < durable + 20 {
            match line.answer().await {
                Some(Out::Progress(progress)) => acknowledged = progress.durable_sequence_number,
                other => panic!("{other:?}"),
            }
        }
        assert_eq!(program.signal("KILL").await, None);
        while let Some(Out::Progress(progress)) = line.answer().await {
            acknowledged = progress.durable_sequence_number;
        }
        program = Program::start(&data);
    }
    let (mut line, _) = Line::open(&program).await;
    line.send(In::Finish(FinishStream {}));
    let Some(Out::Finished(pull)) = line.answer().await else {
        panic!("not finished");
    };
    assert!(pull.sample_count >= acknowledged * 10);
    assert_eq!(program.signal("KILL").await, None);
    let program = Program::start(&data);
    let mut pulls =
        PullServiceClient::with_interceptor(connect(&program.url).await, program.bearer.clone());
    let request = ListPullsRequest {
        parent: "jobs/j".to_owned(),
        ..ListPullsRequest::default()
    };
    let listed = pulls.list_pulls(request).await.unwrap().into_inner().pulls;
    assert_eq!(listed.len(), 1);
    assert_eq!(listed[0].log_sha256, pull.log_sha256);
    drop((line, pulls, jobs));
    assert_eq!(program.signal("TERM").await, Some(0));
    let verified = run(&["ledger", "verify", "--data", data.to_str().unwrap()]);
    let told = String::from_utf8(verified.stdout).unwrap();
    assert!(
        verified.status.success() && told.ends_with("everything holds\n"),
        "{told}"
    );
}

/// If this fails, a daemon that can't do what it is told begins all the same, or does not say why.
#[test]
fn a_misconfigured_daemon_does_not_begin() {
    let directory = tempfile::tempdir().unwrap();
    let file = directory.path().join("d.toml");
    std::fs::write(&file, "[limits]\nstreams = 4\n").unwrap();
    let file = file.to_str().unwrap();
    let data = directory.path().join("ledger");
    let data = data.to_str().unwrap();
    let data_too = format!("{data}-too");
    let data_too = data_too.as_str();
    let rows: [(&[&str], &str); 8] = [
        (&["serve"], "no directory for the ledger is named"),
        (
            &["serve", "--data", data, "--config", file],
            "line 2: limits.streams is not a known key",
        ),
        (
            &["serve", "--data", data, "--listen", "0.0.0.0:0"],
            "reached from other machines",
        ),
        (
            &["serve", "--data", data, "--listen", "7411"],
            "listen (flag)",
        ),
        (
            &["ledger", "verify", "--data", "/nowhere/at/all"],
            "is no directory",
        ),
        (
            &["serve", "--data", data, "--blobs", "s3://logs"],
            "name a database too",
        ),
        (
            &[
                "serve",
                "--store",
                "postgres://u@127.0.0.1:9/d",
                "--blobs",
                "logs",
            ],
            "write s3://BUCKET",
        ),
        (
            &[
                "move",
                "--from",
                data,
                "--to",
                data_too,
                "--blobs",
                "s3://logs",
            ],
            "--blobs goes with a database",
        ),
    ];
    for (arguments, expected) in rows {
        let output = run(arguments);
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {told}");
        assert!(told.contains(expected), "{arguments:?}: {told}");
    }
}

/// If this fails, the example configuration can't be used, or nobody is told where a value is from.
#[test]
fn the_example_configuration_is_a_good_one() {
    let example = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../deploy/baytrimd.example.toml"
    );
    let checked = run(&["config", "check", "--config", example]);
    assert!(
        checked.status.success(),
        "{}",
        String::from_utf8_lossy(&checked.stderr)
    );
    let shown = run(&[
        "config",
        "show",
        "--config",
        example,
        "--listen",
        "127.0.0.1:1",
    ]);
    let shown = String::from_utf8(shown.stdout).unwrap();
    let lines: Vec<&str> = shown.lines().collect();
    assert_eq!(lines.len(), baytrimd::config::keys::KEYS.len());
    let text = std::fs::read_to_string(example).unwrap();
    let line_of = |start: &str| {
        let place = text.lines().position(|line| line.starts_with(start));
        format!("line {}", place.unwrap() + 1)
    };
    let ends = [
        ("listen ", " flag".to_owned()),
        ("data ", line_of("data =")),
        ("limits.idle_s ", line_of("idle_s =")),
    ];
    for (key, origin) in ends {
        let line = lines.iter().find(|line| line.starts_with(key)).unwrap();
        assert!(line.ends_with(&origin), "{line}");
    }
    assert!(
        !shown.contains("default"),
        "the example leaves out a key:\n{shown}"
    );
}
