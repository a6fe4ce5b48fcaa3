//! A logged pull, streamed as a bay would.

use std::io::{IsTerminal as _, Write as _};
use std::path::Path;

use anyhow::{Context as _, anyhow, bail};
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::stream_pull_request::Message as Out;
use baytrim_api::v1::stream_pull_response::Message as In;
use baytrim_api::v1::{
    FinishStream, OpenStream, Pull, SampleBatch, SampleColumn, StreamProgress, StreamPullRequest,
};
use baytrim_intake::{LogLimits, read_log, standard_channels};
use baytrim_model::engine::Fuel;
use baytrim_model::samples::Samples;
use tokio_stream::wrappers::ReceiverStream;
use tonic::metadata::{Ascii, MetadataValue};
use tonic::service::Interceptor;
use tonic::transport::Channel;
use tonic::{Request, Status};

/// Shows a token with every call.
#[derive(Clone)]
pub(super) struct Bearer(MetadataValue<Ascii>);

impl Bearer {
    /// Reads the token in `file`.
    pub(super) fn read(file: &Path) -> anyhow::Result<Self> {
        let text = std::fs::read_to_string(file);
        let text = text.with_context(|| format!("can't read {}", file.display()))?;
        Ok(Self(format!("Bearer {}", text.trim()).parse()?))
    }
}

impl Interceptor for Bearer {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        let token = self.0.clone();
        request.metadata_mut().insert("authorization", token);
        Ok(request)
    }
}

/// Samples in one batch: five seconds at 20 Hz.
const BATCH_SAMPLES: usize = 100;

/// Streams the pull logged in `log` to `bay` of job `parent` and returns it as recorded.
pub(super) async fn pull(
    server: &str,
    token: &Bearer,
    parent: &str,
    bay: &str,
    log: &Path,
) -> anyhow::Result<Pull> {
    let samples = samples(log)?;
    let batches = batches(&samples);
    let count = batches.len() as u64;
    let channel = Channel::from_shared(server.to_owned())?.connect().await?;
    let (sender, receiver) = tokio::sync::mpsc::channel(4);
    let open = OpenStream {
        parent: parent.to_owned(),
        bay: bay.to_owned(),
        request_id: format!("demo-{bay}-{}", stem(log)),
        ..OpenStream::default()
    };
    tokio::spawn(async move {
        let messages = std::iter::once(Out::Open(open))
            .chain(batches.into_iter().map(Out::Batch))
            .chain(std::iter::once(Out::Finish(FinishStream {})));
        for message in messages {
            let request = StreamPullRequest {
                message: Some(message),
            };
            // The daemon has gone away: the answer's stream says so.
            if sender.send(request).await.is_err() {
                break;
            }
        }
    });
    let mut answers = PullServiceClient::with_interceptor(channel, token.clone())
        .stream_pull(ReceiverStream::new(receiver))
        .await?
        .into_inner();
    let mut bar = Bar::new(stem(log), count);
    while let Some(answer) = answers.message().await? {
        match answer.message {
            Some(In::Progress(progress)) => bar.show(&progress),
            Some(In::Finished(pull)) => {
                bar.end(&pull);
                return Ok(pull);
            }
            Some(In::Opened(_)) | None => {}
        }
    }
    bail!(
        "the daemon ended the stream of {} before the pull was finished",
        log.display()
    )
}

fn samples(log: &Path) -> anyhow::Result<Samples> {
    let mut file =
        std::fs::File::open(log).with_context(|| format!("can't read {}", log.display()))?;
    // The demo's logs hold lambda, which needs no fuel to be read.
    let fuel = Fuel {
        name: "any".to_owned(),
        stoichiometric_afr: 14.7,
    };
    let name = log.display().to_string();
    let intake = read_log(
        &mut file,
        &name,
        &standard_channels(),
        &fuel,
        &LogLimits::default(),
    )?;
    Ok(intake.samples)
}

fn batches(samples: &Samples) -> Vec<SampleBatch> {
    let starts = (0..samples.len()).step_by(BATCH_SAMPLES);
    let batch = |(index, start): (usize, usize)| {
        let rows = start..samples.len().min(start + BATCH_SAMPLES);
        SampleBatch {
            sequence_number: index as u64 + 1,
            offset_s: samples.offset_s[rows.clone()].to_vec(),
            columns: samples
                .channels
                .iter()
                .map(|(quantity, values)| SampleColumn {
                    quantity: quantity.as_str().to_owned(),
                    values: values[rows.clone()]
                        .iter()
                        .map(|&value| narrow(value))
                        .collect(),
                })
                .collect(),
        }
    };
    starts.enumerate().map(batch).collect()
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "the wire carries channels in single precision, finer than any sensor"
)]
fn narrow(value: f64) -> f32 {
    value as f32
}

fn stem(log: &Path) -> String {
    let stem = log.file_stem().and_then(|stem| stem.to_str());
    stem.unwrap_or("pull").to_owned()
}

/// One line that tells how far a stream is: redrawn on a terminal, written once elsewhere.
struct Bar {
    name: String,
    count: u64,
    is_terminal: bool,
}

impl Bar {
    fn new(name: String, count: u64) -> Self {
        Self {
            name,
            count,
            is_terminal: std::io::stderr().is_terminal(),
        }
    }

    fn show(&mut self, progress: &StreamProgress) {
        if self.is_terminal {
            let done = progress.durable_sequence_number * 100 / self.count.max(1);
            write(&format!(
                "\r  {} {done:>3} %: {} samples durable, {:.0} s accepted, {} nodes visited ",
                self.name, progress.sample_count, progress.accepted_s, progress.visited_node_count
            ));
        }
    }

    fn end(&mut self, pull: &Pull) {
        let head = if self.is_terminal { "\r" } else { "" };
        write(&format!(
            "{head}  {} done: {} samples durable, {:.0} s of {:.0} s accepted{:20}\n",
            self.name, pull.sample_count, pull.accepted_s, pull.duration_s, ""
        ));
    }
}

fn write(text: &str) {
    let mut err = std::io::stderr().lock();
    // A closed terminal is no reason to end a pull.
    let _ = err.write_all(text.as_bytes()).and_then(|()| err.flush());
}

/// Returns the job's resource name from the file that opens it.
pub(super) fn job_of(file: &Path) -> anyhow::Result<String> {
    let text =
        std::fs::read_to_string(file).with_context(|| format!("can't read {}", file.display()))?;
    let table: toml::Table = text
        .parse()
        .with_context(|| format!("{} is no TOML", file.display()))?;
    let id = table.get("id").and_then(toml::Value::as_str);
    id.map(ToOwned::to_owned)
        .ok_or_else(|| anyhow!("{} has no id", file.display()))
}
