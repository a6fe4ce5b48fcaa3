//! A client that remembers what it was told, and holds the next daemon to it.

use std::fmt::Write as _;
use std::path::Path;

use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use baytrim_api::v1::{
    CreateJobRequest, FinishStream, ListPullsRequest, Pull, SampleBatch, SampleColumn,
};
use tonic::{Code, Status};

use crate::Random;
use crate::child::live::Live;
use crate::child::{Line, Wire};

/// Pulls in one job, so that no job grows without end.
const PULLS_PER_JOB: usize = 20;
const ROWS: u64 = 10;

const JOB_FILE: &str = "
name = \"Invented 125\"
engine = { strokes = 4, displacement_cc = 125.0, cylinders = 1 }
fuel = { name = \"petrol\", stoichiometric_afr = 14.3 }
axes = { rpm = [3000, 9000], plate_percent = [20, 80] }
table = { content = \"percent\", values = [[0, 0], [0, 0]] }
target = { lambda = 0.9 }
bays = { east = {} }
";

/// A job that was acknowledged, with its acknowledged pulls and what they were held at.
struct Job {
    id: String,
    pulls: Vec<(Pull, f32)>,
}

/// A pull on its way.
struct Current {
    request_id: String,
    /// Plate opening that it is held at, percent: no two pulls of a job are the same log.
    plate_percent: f32,
    length: u64,
    sent: u64,
    acknowledged: u64,
    is_finishing: bool,
}

/// A client that remembers what it was told.
pub(crate) struct Client {
    number: u64,
    random: Random,
    jobs: Vec<Job>,
    is_job_wanted: bool,
    current: Option<Current>,
    pull_count: u64,
    batches: u64,
    resumed: u64,
}

/// Returns only when the connection broke; any other refusal is a failure of the daemon.
fn broken(status: &Status) {
    let is_gone = matches!(
        status.code(),
        Code::Unavailable | Code::Unknown | Code::Cancelled | Code::Internal
    );
    assert!(is_gone, "refused: {status:?}");
}

impl Client {
    pub(crate) fn new(number: u64, seed: u64) -> Self {
        Self {
            number,
            random: Random::new(seed * 1000 + number + 1),
            jobs: Vec::new(),
            is_job_wanted: true,
            current: None,
            pull_count: 0,
            batches: 0,
            resumed: 0,
        }
    }

    /// Works until the program is gone.
    pub(crate) async fn work(mut self, line: Line) -> Self {
        let Some(wire) = line.connect_warily().await else {
            return self;
        };
        let result = self.go_on(&wire).await;
        broken(&result.expect_err("it works for ever"));
        self
    }

    /// Works until it has recorded so many pulls.
    #[cfg(target_os = "linux")]
    pub(crate) async fn until(mut self, line: &Line, pulls: u64) -> Self {
        self.create_job(&line.connect().await).await.unwrap();
        self.more(line, pulls).await
    }

    /// Records so many pulls more.
    #[cfg(target_os = "linux")]
    pub(crate) async fn more(mut self, line: &Line, pulls: u64) -> Self {
        let wire = line.connect().await;
        for _ in 0..pulls {
            self.pull(&wire).await.unwrap();
        }
        self
    }

    async fn go_on(&mut self, wire: &Wire) -> Result<(), Status> {
        if let Some(job) = self.jobs.last() {
            let extra = self
                .current
                .as_ref()
                .is_some_and(|current| current.is_finishing);
            check_job(wire, job, usize::from(extra)).await?;
        }
        loop {
            if self.is_job_wanted {
                self.create_job(wire).await?;
            }
            self.pull(wire).await?;
        }
    }

    async fn create_job(&mut self, wire: &Wire) -> Result<(), Status> {
        let id = format!("c{}-{}", self.number, self.jobs.len());
        let request = CreateJobRequest {
            job_id: id.clone(),
            job_file: JOB_FILE.to_owned(),
            request_id: format!("job-{id}"),
            ..CreateJobRequest::default()
        };
        JobServiceClient::new(wire.clone())
            .create_job(request)
            .await?;
        let pulls = Vec::new();
        self.jobs.push(Job { id, pulls });
        self.is_job_wanted = false;
        Ok(())
    }

    async fn pull(&mut self, wire: &Wire) -> Result<(), Status> {
        if self.current.is_none() {
            self.pull_count += 1;
            self.current = Some(Current {
                request_id: format!("pull-{}-{:06}", self.number, self.pull_count),
                plate_percent: 20.0 + f32::from(u8::try_from(self.pull_count % 60).unwrap()),
                length: self.random.within(12..60),
                sent: 0,
                acknowledged: 0,
                is_finishing: false,
            });
        }
        let (job, current) = (
            self.jobs.last_mut().unwrap(),
            self.current.as_mut().unwrap(),
        );
        let mut live = Live::open(wire, &job.id, &current.request_id).await?;
        let finished = match live.next().await? {
            Out::Opened(opened) => {
                current.check(opened.durable_sequence_number);
                self.resumed += u64::from(current.sent > 0);
                while current.acknowledged < current.length {
                    // A few at a time: the kill then finds batches in every state.
                    let first = current.acknowledged + 1;
                    let last = (first + self.random.within(0..9)).min(current.length);
                    current.sent = current.sent.max(last);
                    for number in first..=last {
                        live.send(In::Batch(batch(number, current.plate_percent)));
                    }
                    while current.acknowledged < last {
                        match live.next().await? {
                            Out::Progress(progress) => {
                                let durable = progress.durable_sequence_number;
                                self.batches += durable - current.acknowledged;
                                current.check(durable);
                            }
                            other => panic!("{other:?}"),
                        }
                    }
                }
                current.is_finishing = true;
                live.send(In::Finish(FinishStream {}));
                match live.next().await? {
                    Out::Finished(pull) => pull,
                    other => panic!("{other:?}"),
                }
            }
            Out::Finished(pull) => {
                assert!(current.is_finishing, "finished without being asked");
                pull
            }
            other @ Out::Progress(_) => panic!("{other:?}"),
        };
        assert_eq!(finished.sample_count, current.length * ROWS);
        job.pulls.push((finished, current.plate_percent));
        self.is_job_wanted = job.pulls.len() >= PULLS_PER_JOB;
        self.current = None;
        Ok(())
    }

    /// Checks every job, every pull, and every row of their logs.
    pub(crate) async fn check_everything(&self, line: &Line, data: &Path) {
        let wire = line.connect().await;
        for (index, job) in self.jobs.iter().enumerate() {
            let is_last = index + 1 == self.jobs.len();
            let extra = self
                .current
                .as_ref()
                .is_some_and(|current| is_last && current.is_finishing);
            check_job(&wire, job, usize::from(extra)).await.unwrap();
            for (pull, plate_percent) in &job.pulls {
                let hash = &pull.log_sha256;
                let log = data.join("blobs").join(&hash[..2]).join(hash);
                let text = std::fs::read_to_string(log).unwrap();
                assert_eq!(
                    text,
                    expected_log(pull.sample_count, *plate_percent),
                    "{}",
                    pull.name
                );
            }
        }
    }

    /// Returns acknowledged jobs, pulls and batches, and how many pulls were gone on with.
    pub(crate) fn counts(&self) -> [u64; 4] {
        let pulls: usize = self.jobs.iter().map(|job| job.pulls.len()).sum();
        [
            self.jobs.len() as u64,
            pulls as u64,
            self.batches,
            self.resumed,
        ]
    }
}

impl Current {
    /// Checks a word of the daemon on what is durable, and remembers it.
    fn check(&mut self, durable: u64) {
        let Self {
            request_id,
            sent,
            acknowledged,
            ..
        } = self;
        assert!(
            durable >= *acknowledged,
            "{request_id}: {durable} of {acknowledged} acknowledged batches are left"
        );
        assert!(
            durable <= *sent,
            "{request_id}: {durable} batches of {sent} that were sent"
        );
        self.acknowledged = durable;
    }
}

/// Checks that a job holds the pulls that were acknowledged, in order, and at most `extra` more.
async fn check_job(wire: &Wire, job: &Job, extra: usize) -> Result<(), Status> {
    let request = ListPullsRequest {
        parent: format!("jobs/{}", job.id),
        page_size: 200,
        ..ListPullsRequest::default()
    };
    let listed = PullServiceClient::new(wire.clone())
        .list_pulls(request)
        .await?;
    let listed = listed.into_inner().pulls;
    assert!(
        (job.pulls.len()..=job.pulls.len() + extra).contains(&listed.len()),
        "{}: {} pulls of {}",
        job.id,
        listed.len(),
        job.pulls.len()
    );
    for (found, (told, _)) in listed.iter().zip(&job.pulls) {
        assert_eq!(
            (&found.name, &found.log_sha256, found.sample_count),
            (&told.name, &told.log_sha256, told.sample_count)
        );
    }
    Ok(())
}

/// Every row is another one, so that a lost, doubled or moved one shows.
fn row(number: u64) -> (f64, f32) {
    let step = u16::try_from(number % 89).unwrap();
    (number as f64 / 20.0, 4000.0 + f32::from(step))
}

pub(crate) fn batch(number: u64, plate_percent: f32) -> SampleBatch {
    let rows: Vec<_> = ((number - 1) * ROWS..number * ROWS).map(row).collect();
    let column = |quantity: &str, values: Vec<f32>| SampleColumn {
        quantity: quantity.to_owned(),
        values,
    };
    SampleBatch {
        sequence_number: number,
        offset_s: rows.iter().map(|(offset_s, _)| *offset_s).collect(),
        columns: vec![
            column(
                "engine_speed",
                rows.iter().map(|(_, speed)| *speed).collect(),
            ),
            column("plate_angle", vec![plate_percent; rows.len()]),
            column("lambda", vec![0.93; rows.len()]),
        ],
    }
}

fn expected_log(rows: u64, plate_percent: f32) -> String {
    let mut text = "offset_s,rpm,plate_percent,lambda\n".to_owned();
    for (offset_s, speed) in (0..rows).map(row) {
        let _ = writeln!(text, "{offset_s},{speed},{plate_percent},0.93");
    }
    text
}
