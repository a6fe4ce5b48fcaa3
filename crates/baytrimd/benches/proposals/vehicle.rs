//! A simulated vehicle as a job of the daemon: its pulls go up, its proposals come back.

use std::time::Instant;

use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::review_service_client::ReviewServiceClient;
use baytrim_api::v1::table_service_client::TableServiceClient;
use baytrim_api::v1::upload_pull_request::Message;
use baytrim_api::v1::{
    ApproveProposalRequest, Attachment, CreateJobRequest, CreateProposalRequest, OpenUpload,
    Proposal, RevertTableRequest, UploadPullRequest,
};
use baytrim_model::axis::{Axes, Axis};
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::csv;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::job_file::{Beside, job_toml};
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

use crate::shared::child::{Line, Wire};

const CHUNK_BYTES: usize = 1 << 20;

/// A job with its pulls.
#[derive(Clone)]
pub(crate) struct Vehicle {
    wire: Wire,
    name: String,
    /// What was proposed last, while the table is the first one.
    proposed: Option<Proposal>,
}

fn axes(side: usize) -> Axes {
    let share = |index: usize| index as f64 / (side - 1) as f64;
    let rpm = (0..side).map(|index| (1200.0 + 8800.0 * share(index)).round());
    let plate = (0..side).map(|index| (1000.0 * share(index).powf(1.7)).round() / 10.0);
    Axes {
        rpm: Axis::new("rpm", rpm.collect()).unwrap(),
        plate_percent: Axis::new("plate", plate.collect()).unwrap(),
    }
}

impl Vehicle {
    /// Opens a job with a table of `side` by `side` nodes and submits pulls at 100 Hz.
    pub(crate) async fn open(line: &Line, id: &str, side: usize, kinds: &[PullKind]) -> Self {
        let options = TruthOptions {
            axes: Some(axes(side)),
            ..TruthOptions::default()
        };
        let truth = EngineTruth::from_seed(7, &options);
        let wire = line.connect().await;
        let mut vehicle = Self {
            wire,
            name: format!("jobs/{id}"),
            proposed: None,
        };
        vehicle.create(id, &truth).await;
        let bay = BayOptions {
            rate_hz: 100.0,
            ..BayOptions::default()
        };
        for (seed, &kind) in (0..).zip(kinds) {
            let pull = simulate(&truth, &truth.table.values, kind, seed, &bay);
            vehicle.submit(csv::log(&pull.samples).as_bytes()).await;
        }
        vehicle.proposed = Some(vehicle.propose(false).await.1);
        vehicle
    }

    async fn create(&self, id: &str, truth: &EngineTruth) {
        let spec = truth.job_spec(id.parse().unwrap());
        let beside = Beside {
            table: "table.csv",
            target: "target.csv",
        };
        let text = |values| csv::table(&truth.axes, values, "plate", 3, &[]).into_bytes();
        let attachment = |file_name: &str, content| Attachment {
            file_name: file_name.to_owned(),
            content,
        };
        let request = CreateJobRequest {
            job_file: job_toml(&spec, &[], beside),
            attachments: vec![
                attachment(beside.table, text(&truth.table.values)),
                attachment(beside.target, text(&truth.target_lambda)),
            ],
            ..CreateJobRequest::default()
        };
        let mut jobs = JobServiceClient::new(self.wire.clone());
        jobs.create_job(request).await.unwrap();
    }

    async fn submit(&self, log: &[u8]) {
        let open = Message::Open(OpenUpload {
            parent: self.name.clone(),
            bay: "east".to_owned(),
            ..OpenUpload::default()
        });
        let chunks = log.chunks(CHUNK_BYTES);
        let chunks = chunks.map(|chunk| Message::Chunk(chunk.to_vec()));
        let messages: Vec<_> = std::iter::once(open)
            .chain(chunks)
            .map(|message| UploadPullRequest {
                message: Some(message),
            })
            .collect();
        let mut pulls = PullServiceClient::new(self.wire.clone());
        pulls
            .upload_pull(tokio_stream::iter(messages))
            .await
            .unwrap();
    }

    /// Has a proposal computed, and recorded or not; returns what the caller waited, in milliseconds.
    pub(crate) async fn propose(&self, validate_only: bool) -> (f64, Proposal) {
        let request = CreateProposalRequest {
            parent: self.name.clone(),
            validate_only,
            ..CreateProposalRequest::default()
        };
        let mut corrections = CorrectionServiceClient::new(self.wire.clone());
        let began = Instant::now();
        let answer = corrections.create_proposal(request).await.unwrap();
        let waited_ms = began.elapsed().as_secs_f64() * 1000.0;
        (waited_ms, answer.into_inner().proposal.unwrap())
    }

    /// Makes another revision the table in force: what was proposed last, or the first one again.
    pub(crate) async fn move_head(&mut self) {
        let reason = "a benchmark".to_owned();
        if let Some(Proposal { name, etag, .. }) = self.proposed.take() {
            let request = ApproveProposalRequest {
                name,
                etag,
                reason,
                ..ApproveProposalRequest::default()
            };
            let mut reviews = ReviewServiceClient::new(self.wire.clone());
            reviews.approve_proposal(request).await.unwrap();
        } else {
            let request = RevertTableRequest {
                parent: self.name.clone(),
                revision: "r0".to_owned(),
                reason,
                ..RevertTableRequest::default()
            };
            let mut tables = TableServiceClient::new(self.wire.clone());
            tables.revert_table(request).await.unwrap();
        }
    }

    /// Has a proposal made on a fresh head; returns what the caller waited, in milliseconds.
    pub(crate) async fn propose_on_fresh_head(&mut self) -> f64 {
        let is_first_table = self.proposed.is_none();
        self.move_head().await;
        let (waited_ms, proposal) = self.propose(false).await;
        self.proposed = is_first_table.then_some(proposal);
        waited_ms
    }
}
