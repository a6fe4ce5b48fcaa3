//! A server with canned answers that remembers what it was asked.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use baytrim_api::v1::bay_service_server::BayServiceServer;
use baytrim_api::v1::correction_service_server::CorrectionServiceServer;
use baytrim_api::v1::daemon_service_server::DaemonServiceServer;
use baytrim_api::v1::job_service_server::JobServiceServer;
use baytrim_api::v1::ledger_service_server::LedgerServiceServer;
use baytrim_api::v1::library_service_server::LibraryServiceServer;
use baytrim_api::v1::power_service_server::PowerServiceServer;
use baytrim_api::v1::pull_service_server::PullServiceServer;
use baytrim_api::v1::review_service_server::ReviewServiceServer;
use baytrim_api::v1::stage_service_server::StageServiceServer;
use baytrim_api::v1::table_service_server::TableServiceServer;
use baytrim_api::v1::{
    ApproveProposalRequest, AssignPullRequest, CloseJobRequest, CreateCommentRequest,
    CreateJobRequest, CreateProposalRequest, CreateSensorCheckRequest, CreateStageRequest,
    CreateStartingTableRequest, ExportTableRequest, GetPowerRequest, OpenUpload, PlanPullRequest,
    RejectProposalRequest, RevertTableRequest, SetChannelMapRequest,
};
use tokio::net::TcpListener;
use tokio_stream::wrappers::TcpListenerStream;
use tonic::transport::Server;
use tonic::{Code, Request, Status};
use tonic_types::{ErrorDetails, StatusExt as _};

mod bays;
mod corrections;
mod daemon;
mod jobs;
mod ledger;
mod library;
mod power;
mod pulls;
mod reviews;
mod stages;
mod tables;

/// A shop on an ephemeral port.
#[derive(Clone, Default)]
pub(crate) struct Shop {
    seen: Arc<Mutex<Seen>>,
}

/// What the shop was asked, and how it is to behave.
#[derive(Default)]
pub(crate) struct Seen {
    pub(crate) actors: Vec<String>,
    pub(crate) authorizations: Vec<String>,
    pub(crate) jobs: Vec<CreateJobRequest>,
    pub(crate) uploads: Vec<Upload>,
    pub(crate) proposals: Vec<CreateProposalRequest>,
    pub(crate) starts: Vec<CreateStartingTableRequest>,
    pub(crate) plans: Vec<PlanPullRequest>,
    pub(crate) powers: Vec<GetPowerRequest>,
    pub(crate) approvals: Vec<ApproveProposalRequest>,
    pub(crate) rejections: Vec<RejectProposalRequest>,
    pub(crate) comments: Vec<CreateCommentRequest>,
    pub(crate) reverts: Vec<RevertTableRequest>,
    pub(crate) exports: Vec<ExportTableRequest>,
    pub(crate) maps: Vec<SetChannelMapRequest>,
    pub(crate) stages: Vec<CreateStageRequest>,
    pub(crate) assignments: Vec<AssignPullRequest>,
    pub(crate) sensor_checks: Vec<CreateSensorCheckRequest>,
    pub(crate) closings: Vec<CloseJobRequest>,
    pub(crate) page_tokens: Vec<String>,
    /// Calls that are answered UNAVAILABLE before any is answered well.
    pub(crate) failing_calls: usize,
    /// Whether calls hang for longer than anyone waits.
    pub(crate) is_stuck: bool,
    /// Status that every call is answered with.
    pub(crate) refusal: Option<Code>,
    pub(crate) call_count: usize,
}

/// An upload as it arrived.
pub(crate) struct Upload {
    pub(crate) open: OpenUpload,
    pub(crate) bytes: Vec<u8>,
    pub(crate) chunk_bytes_max: usize,
    pub(crate) is_whole: bool,
}

impl Shop {
    /// Returns an open shop and its address.
    pub(crate) async fn open() -> (Self, String) {
        let shop = Self::default();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let serving = Server::builder()
            .add_service(JobServiceServer::new(shop.clone()))
            .add_service(LibraryServiceServer::new(shop.clone()))
            .add_service(BayServiceServer::new(shop.clone()))
            .add_service(PullServiceServer::new(shop.clone()))
            .add_service(PowerServiceServer::new(shop.clone()))
            .add_service(CorrectionServiceServer::new(shop.clone()))
            .add_service(ReviewServiceServer::new(shop.clone()))
            .add_service(StageServiceServer::new(shop.clone()))
            .add_service(TableServiceServer::new(shop.clone()))
            .add_service(LedgerServiceServer::new(shop.clone()))
            .add_service(DaemonServiceServer::new(shop.clone()))
            .serve_with_incoming(TcpListenerStream::new(listener));
        tokio::spawn(serving);
        (shop, url)
    }

    /// Looks at, or sets, what the shop has seen and how it behaves.
    pub(crate) fn with<T>(&self, look: impl FnOnce(&mut Seen) -> T) -> T {
        look(&mut self.seen.lock().unwrap())
    }

    /// Notes who calls, and refuses where the shop is set to.
    async fn enter<T>(&self, request: &Request<T>) -> Result<(), Status> {
        let text = |key: &str| {
            let value = request.metadata().get(key);
            value.map(|value| value.to_str().unwrap().to_owned())
        };
        let (is_stuck, answer) = self.with(|seen| {
            seen.call_count += 1;
            seen.actors.extend(text("baytrim-actor"));
            seen.authorizations.extend(text("authorization"));
            if seen.failing_calls > 0 {
                seen.failing_calls -= 1;
                return (false, Err(Status::unavailable("the shop is opening")));
            }
            (
                seen.is_stuck,
                seen.refusal.map_or(Ok(()), |code| Err(refusal(code))),
            )
        });
        if is_stuck {
            tokio::time::sleep(Duration::from_secs(3600)).await;
        }
        answer
    }
}

/// Returns a refusal with all that a refusal can carry.
fn refusal(code: Code) -> Status {
    let mut details = ErrorDetails::new();
    details.set_error_info(
        "CANNED",
        "baytrim",
        [("revision".to_owned(), "r2".to_owned())],
    );
    Status::with_error_details(code, "the shop says no; come back later", details)
}
