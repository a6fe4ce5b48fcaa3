//! What a shop does all day.

use std::fmt;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use baytrim_api::v1::access_service_client::AccessServiceClient;
use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::review_service_client::ReviewServiceClient;
use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use baytrim_api::v1::upload_pull_request::Message as Part;
use baytrim_api::v1::watch_service_client::WatchServiceClient;
use baytrim_api::v1::{
    ApproveProposalRequest, CreateJobRequest, CreateMemberRequest, CreateProposalRequest,
    CreateSignInRequest, CreateTokenRequest, FinishStream, ListJobsRequest, Member, OpenUpload,
    Policy, Proposal, RejectProposalRequest, Role, SampleBatch, SampleColumn, UpdatePolicyRequest,
    UploadPullRequest, WatchProposalsRequest,
};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tonic::{Response, Status};

use crate::child::live::Live;
use crate::child::{Line, Wire};

/// Somebody whom no line of the log may name, as in her file's and her vehicle's names and in what she writes.
pub(crate) const PERSON: &str = "Tamsin Vale";

const JOB_FILE: &str = "
name = \"Invented 125 of Tamsin Vale\"
engine = { strokes = 4, displacement_cc = 125.0, cylinders = 1 }
fuel = { name = \"petrol\", stoichiometric_afr = 14.3 }
axes = { rpm = [3000, 6000, 9000], plate_percent = [20, 50, 80] }
table = { content = \"percent\", values = [[0, 0, 0], [0, 0, 0], [0, 0, 0]] }
target = { lambda = 0.9 }
bays = { east = {} }
";

/// Pulls of a job, each with a proposal and a verdict after it.
const PULLS: u64 = 4;
const BATCHES: u64 = 40;
const ROWS: u64 = 10;
/// One pull in so many is left as it is, unfinished.
const LEFT_EVERY: u64 = 7;

/// A number that several count up.
#[derive(Debug, Default)]
pub(crate) struct Count(AtomicU64);

impl Count {
    pub(crate) fn get(&self) -> u64 {
        self.0.load(Ordering::Relaxed)
    }

    fn one(&self) {
        self.0.fetch_add(1, Ordering::Relaxed);
    }
}

/// What was done, and how long each request took since somebody looked.
#[derive(Debug, Default)]
pub(crate) struct Counts {
    pub(crate) waits_ms: Mutex<Vec<f64>>,
    jobs: Count,
    pulls: Count,
    left: Count,
    batches: Count,
    proposals: Count,
    pub(crate) verdicts: Count,
    pub(crate) pages: Count,
    pub(crate) changes: Count,
    refused_logs: Count,
}

impl fmt::Display for Counts {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            out,
            "{} jobs, {} pulls of {} batches in all, {} left unfinished, {} proposals, {} verdicts, {} pages, {} changes watched, {} logs refused",
            self.jobs.get(),
            self.pulls.get(),
            self.batches.get(),
            self.left.get(),
            self.proposals.get(),
            self.verdicts.get(),
            self.pages.get(),
            self.changes.get(),
            self.refused_logs.get()
        )
    }
}

/// The shop, as its people see the daemon.
#[derive(Clone)]
pub(crate) struct Shop {
    line: Line,
    counts: Arc<Counts>,
}

impl Shop {
    pub(crate) fn new(line: Line, counts: Arc<Counts>) -> Self {
        Self { line, counts }
    }

    async fn timed<T>(
        &self,
        call: impl Future<Output = Result<Response<T>, Status>>,
    ) -> Result<T, Status> {
        let began = Instant::now();
        let answer = call.await?;
        let waited_ms = began.elapsed().as_secs_f64() * 1000.0;
        self.counts.waits_ms.lock().unwrap().push(waited_ms);
        Ok(answer.into_inner())
    }

    /// Lets the owner approve what the owner asked for.
    pub(crate) async fn work_alone(&self) {
        let request = UpdatePolicyRequest {
            policy: Some(Policy {
                one_person: true,
                ..Policy::default()
            }),
            reason: format!("{PERSON} works alone"),
            ..UpdatePolicyRequest::default()
        };
        let mut access = AccessServiceClient::new(self.line.connect().await);
        self.timed(access.update_policy(request)).await.unwrap();
    }

    /// Takes a person in, and returns the shop as she sees it.
    pub(crate) async fn of_a_person(&self) -> Self {
        let mut access = AccessServiceClient::new(self.line.connect().await);
        let roles = [Role::Tuner, Role::Reviewer].map(i32::from).to_vec();
        let member = Member {
            member: PERSON.to_owned(),
            roles,
            ..Member::default()
        };
        let request = CreateMemberRequest {
            member: Some(member),
            ..CreateMemberRequest::default()
        };
        self.timed(access.create_member(request)).await.unwrap();
        let request = CreateTokenRequest {
            member: PERSON.to_owned(),
            ..CreateTokenRequest::default()
        };
        let made = self.timed(access.create_token(request)).await.unwrap();
        Self {
            line: self.line.with_token(&made.secret),
            counts: Arc::clone(&self.counts),
        }
    }

    /// Tries a token that nobody has, and one that says too little.
    pub(crate) async fn stranger(&self) {
        for token in [PERSON, "baytrim_abcdefgh_of-nobody"] {
            let line = self.line.with_token(token);
            let mut jobs = JobServiceClient::new(line.connect().await);
            let listed = jobs.list_jobs(ListJobsRequest::default()).await;
            listed.unwrap_err();
        }
    }

    /// Opens job after job in one bay, and works each off.
    pub(crate) async fn bay(self, number: u64, end: Instant) {
        for job in 0.. {
            if Instant::now() >= end {
                return;
            }
            // A PC that is turned off and on again.
            let wire = self.line.connect().await;
            let id = format!("b{number}-{job}");
            let request = CreateJobRequest {
                job_id: id.clone(),
                job_file: JOB_FILE.to_owned(),
                ..CreateJobRequest::default()
            };
            let mut jobs = JobServiceClient::new(wire.clone());
            self.timed(jobs.create_job(request)).await.unwrap();
            self.counts.jobs.one();
            for pull in 0..PULLS {
                let is_left = (job * PULLS + pull) % LEFT_EVERY == LEFT_EVERY - 1;
                self.pull(&wire, &id, pull, is_left).await;
                if !is_left && Instant::now() < end {
                    self.decide(&wire, &id, pull % 3 == 2).await;
                }
            }
        }
    }

    async fn pull(&self, wire: &Wire, job: &str, number: u64, is_left: bool) {
        let name = format!("pull-{job}-{number}");
        let mut live = Live::open(wire, job, &name).await.unwrap();
        live.next().await.unwrap();
        for batch in 1..=BATCHES {
            live.send(In::Batch(rows(batch, number)));
            while !matches!(live.next().await.unwrap(), Out::Progress(_)) {}
            self.counts.batches.one();
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        if is_left {
            self.counts.left.one();
            return;
        }
        live.send(In::Finish(FinishStream {}));
        while !matches!(live.next().await.unwrap(), Out::Finished(_)) {}
        self.counts.pulls.one();
    }

    /// Has a proposal made, and gives a verdict.
    async fn decide(&self, wire: &Wire, job: &str, is_rejected: bool) {
        let request = CreateProposalRequest {
            parent: format!("jobs/{job}"),
            ..CreateProposalRequest::default()
        };
        let mut corrections = CorrectionServiceClient::new(wire.clone());
        let made = self.timed(corrections.create_proposal(request)).await;
        self.counts.proposals.one();
        let Proposal { name, etag, .. } = made.unwrap().proposal.unwrap();
        let (reason, mut reviews) = (
            format!("{PERSON} says so"),
            ReviewServiceClient::new(wire.clone()),
        );
        let is_given = if is_rejected {
            let request = RejectProposalRequest {
                name,
                etag,
                reason,
                ..RejectProposalRequest::default()
            };
            self.timed(reviews.reject_proposal(request)).await.is_ok()
        } else {
            let request = ApproveProposalRequest {
                name,
                etag,
                reason,
                ..ApproveProposalRequest::default()
            };
            // Refused where nothing is left to change.
            self.timed(reviews.approve_proposal(request)).await.is_ok()
        };
        if is_given {
            self.counts.verdicts.one();
        }
    }

    /// Watches what waits, with a new connection every second.
    pub(crate) async fn watcher(self, end: Instant) {
        while Instant::now() < end {
            let mut watches = WatchServiceClient::new(self.line.connect().await);
            let request = WatchProposalsRequest::default();
            let mut news = watches.watch_proposals(request).await.unwrap().into_inner();
            let watching = async {
                while let Some(answer) = news.message().await.unwrap() {
                    if answer.proposal.is_some() {
                        self.counts.changes.one();
                    }
                }
            };
            let _ = tokio::time::timeout(Duration::from_secs(1), watching).await;
        }
    }

    /// Signs in to the review page now and then, and reads it.
    pub(crate) async fn reader(self, end: Instant) {
        let mut jobs = JobServiceClient::new(self.line.connect().await);
        while Instant::now() < end {
            let mut access = AccessServiceClient::new(self.line.connect().await);
            let made = self
                .timed(access.create_sign_in(CreateSignInRequest {}))
                .await;
            let answer = self.get(&made.unwrap().path, "").await;
            let cookie = answer
                .lines()
                .find_map(|line| line.strip_prefix("set-cookie: "));
            let cookie = cookie.unwrap().split(';').next().unwrap().to_owned();
            for _ in 0..20 {
                let listed = self.timed(jobs.list_jobs(ListJobsRequest::default())).await;
                let Some(job) = listed.unwrap().jobs.into_iter().next() else {
                    continue;
                };
                for path in [
                    "/".to_owned(),
                    "/shop".to_owned(),
                    format!("/{}", job.name),
                    format!("/{}/coverage", job.name),
                    format!("/{}/sheet", job.name),
                    format!("/{}/pulls/p1", job.name),
                ] {
                    let answer = self.get(&path, &cookie).await;
                    assert!(!answer.starts_with("HTTP/1.1 5"), "{path}: {answer}");
                    self.counts.pages.one();
                }
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
        }
    }

    /// Asks for a page over a connection of its own (RFC 9112).
    async fn get(&self, path: &str, cookie: &str) -> String {
        let mut socket = TcpStream::connect(self.line.address()).await.unwrap();
        let request = format!(
            "GET {path} HTTP/1.1\r\nhost: localhost\r\ncookie: {cookie}\r\nconnection: close\r\n\r\n"
        );
        socket.write_all(request.as_bytes()).await.unwrap();
        let mut answer = Vec::new();
        socket.read_to_end(&mut answer).await.unwrap();
        String::from_utf8_lossy(&answer).into_owned()
    }

    /// Uploads what is no log: it is kept until the rules remove it.
    pub(crate) async fn sender_of_rubbish(self, end: Instant) {
        let wire = self.line.connect().await;
        let mut pulls = PullServiceClient::new(wire);
        for number in 0.. {
            if Instant::now() >= end {
                return;
            }
            tokio::time::sleep(Duration::from_millis(200)).await;
            let open = Part::Open(OpenUpload {
                parent: "jobs/b0-0".to_owned(),
                bay: "east".to_owned(),
                source_name: format!("{PERSON}.csv"),
                ..OpenUpload::default()
            });
            let rubbish = Part::Chunk(format!("rubbish number {number}\n").into_bytes());
            let parts = [open, rubbish].map(|part| UploadPullRequest {
                message: Some(part),
            });
            let refused = pulls.upload_pull(tokio_stream::iter(parts)).await;
            refused.unwrap_err();
            self.counts.refused_logs.one();
        }
    }
}

/// Ten rows of a ride over the whole table; no two pulls of a job are the same log.
fn rows(number: u64, pull: u64) -> SampleBatch {
    let rows = (number - 1) * ROWS..number * ROWS;
    let column = |quantity: &str, value: &dyn Fn(f32) -> f32| SampleColumn {
        quantity: quantity.to_owned(),
        values: rows.clone().map(|row| value(row as f32)).collect(),
    };
    SampleBatch {
        sequence_number: number,
        offset_s: rows.clone().map(|row| row as f64 / 20.0).collect(),
        columns: vec![
            column("engine_speed", &|row| {
                3000.0 + (row * 15.0 + pull as f32) % 6000.0
            }),
            column("plate_angle", &|row| 20.0 + (row / 7.0) % 60.0),
            column("lambda", &|row| 0.93 + 0.01 * (row / 3.0).sin()),
        ],
    }
}
