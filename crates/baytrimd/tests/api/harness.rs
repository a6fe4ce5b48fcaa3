//! A daemon within the test, and what tests say to it.

use std::fmt::Write as _;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use baytrim_api::v1::access_service_client::AccessServiceClient;
use baytrim_api::v1::bay_service_client::BayServiceClient;
use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::ledger_service_client::LedgerServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::review_service_client::ReviewServiceClient;
use baytrim_api::v1::table_service_client::TableServiceClient;
use baytrim_api::v1::upload_pull_request::Message;
use baytrim_api::v1::{
    CreateJobRequest, CreateProposalRequest, Job, ListJobsRequest, OpenUpload, Proposal, Pull,
    UploadPullRequest,
};
use baytrim_checkpoint::Signer;
use baytrim_ledger::{MemoryStore, Store};
use baytrim_ledger_local::LocalStore;
use baytrim_model::shop::{Policy, Role, ShopEvent};
use baytrimd::access::{Access, found};
use baytrimd::checkpoints::{Checkpointing, KEY_NAME};
use baytrimd::config::ServiceLimits;
use baytrimd::server::{ServeError, Serving, serve};
use baytrimd::webhook::Webhook;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::Channel;
use tonic::{Request, Response, Status};
use tonic_types::StatusExt as _;

pub(crate) use crate::bearer::Bearer;
pub use crate::people::{join, record, token_of};

/// A connection that shows a token, unless the request itself does.
pub(crate) type Wire = InterceptedService<Channel, Bearer>;

/// Makes a shop of one person, where whoever is named in tests may do everything.
///
/// Its members have a store of their own, so that tests can tell every record of the ledger that they look at.
pub fn shop() -> Access {
    let access = shop_of_several();
    let policy = Policy {
        one_person: true,
        ..Policy::default()
    };
    let reason = "these are tests".to_owned();
    record(&access, &ShopEvent::PolicySet { policy, reason });
    access
}

/// Makes a shop with the same members, where nobody approves what they asked for.
pub fn shop_of_several() -> Access {
    let access = Access::open(Arc::new(MemoryStore::new()), None).unwrap();
    found(&access, &token_of("owner"), &Role::ALL).unwrap();
    for name in EVERYBODY {
        join(&access, name, &Role::ALL);
    }
    access
}

/// Who acts in tests that name nobody.
pub const SOMEBODY: &str = "unknown";

/// Who acts in tests.
const EVERYBODY: [&str; 7] = [
    SOMEBODY,
    "Ines",
    "Ines of bay 2",
    "Odo",
    "Tova",
    "Una",
    "Piet",
];

/// A daemon within the test.
pub struct Daemon {
    pub address: SocketAddr,
    /// Where its figures are scraped.
    pub metrics_address: SocketAddr,
    pub channel: Channel,
    stop: oneshot::Sender<()>,
    serving: JoinHandle<Result<(), ServeError>>,
}

impl Daemon {
    /// Starts a daemon that keeps everything in memory.
    pub async fn start() -> Self {
        Self::with(Arc::new(MemoryStore::new()), ServiceLimits::default()).await
    }

    /// Starts a daemon on a directory.
    pub async fn on(directory: &Path) -> Self {
        let (store, _) =
            LocalStore::open(directory, &baytrim_ledger_local::Options::default()).unwrap();
        Self::with(Arc::new(store), ServiceLimits::default()).await
    }

    pub async fn with(store: Arc<dyn Store>, limits: ServiceLimits) -> Self {
        let access = shop();
        Self::guarded(store, limits, access).await
    }

    /// Starts a daemon of a shop where nobody approves what they asked for.
    pub async fn of_several() -> Self {
        let store = Arc::new(MemoryStore::new());
        Self::guarded(store, ServiceLimits::default(), shop_of_several()).await
    }

    /// Starts a daemon that tells a receiver which proposals wait.
    pub async fn telling(store: Arc<dyn Store>, webhook: Webhook) -> Self {
        Self::whole(store, ServiceLimits::default(), shop(), Some(webhook)).await
    }

    pub async fn guarded(store: Arc<dyn Store>, limits: ServiceLimits, access: Access) -> Self {
        Self::whole(store, limits, access, None).await
    }

    async fn whole(
        store: Arc<dyn Store>,
        limits: ServiceLimits,
        access: Access,
        webhook: Option<Webhook>,
    ) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let metrics = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let metrics_address = metrics.local_addr().unwrap();
        let (stop, stopped) = oneshot::channel();
        let serving = Serving {
            store,
            limits,
            access,
            tls: None,
            metrics: Some(metrics),
            checkpoints: Checkpointing {
                signer: Some(Arc::new(Signer::new(KEY_NAME, &[7; 32]))),
                ..Checkpointing::default()
            },
            webhook,
        };
        let serving = tokio::spawn(serve(serving, listener, async {
            let _ = stopped.await;
        }));
        Self {
            address,
            metrics_address,
            channel: connect(address).await,
            stop,
            serving,
        }
    }

    /// Stops the daemon and waits until it is gone.
    pub async fn stop(self) {
        self.stop.send(()).unwrap();
        drop(self.channel);
        self.serving.await.unwrap().unwrap();
    }

    /// Tells the daemon to stop, keeping the connection.
    pub fn stopping(self) -> (Channel, JoinHandle<Result<(), ServeError>>) {
        self.stop.send(()).unwrap();
        (self.channel, self.serving)
    }

    pub fn jobs(&self) -> JobServiceClient<Wire> {
        JobServiceClient::with_interceptor(
            self.channel.clone(),
            Bearer::of(token_of(SOMEBODY).text()),
        )
    }

    pub fn pulls(&self) -> PullServiceClient<Wire> {
        PullServiceClient::with_interceptor(
            self.channel.clone(),
            Bearer::of(token_of(SOMEBODY).text()),
        )
    }

    pub fn bays(&self) -> BayServiceClient<Wire> {
        BayServiceClient::with_interceptor(
            self.channel.clone(),
            Bearer::of(token_of(SOMEBODY).text()),
        )
    }

    pub fn corrections(&self) -> CorrectionServiceClient<Wire> {
        CorrectionServiceClient::with_interceptor(
            self.channel.clone(),
            Bearer::of(token_of(SOMEBODY).text()),
        )
    }

    pub fn reviews(&self) -> ReviewServiceClient<Wire> {
        ReviewServiceClient::with_interceptor(
            self.channel.clone(),
            Bearer::of(token_of(SOMEBODY).text()),
        )
    }

    pub fn tables(&self) -> TableServiceClient<Wire> {
        TableServiceClient::with_interceptor(
            self.channel.clone(),
            Bearer::of(token_of(SOMEBODY).text()),
        )
    }

    pub fn ledger(&self) -> LedgerServiceClient<Wire> {
        LedgerServiceClient::with_interceptor(
            self.channel.clone(),
            Bearer::of(token_of(SOMEBODY).text()),
        )
    }

    pub fn access(&self, token: &str) -> AccessServiceClient<Wire> {
        AccessServiceClient::with_interceptor(self.channel.clone(), Bearer::of(token))
    }

    /// Opens the job of [`job_file`] under `id`.
    pub async fn open_job(&self, id: &str) -> Job {
        let request = CreateJobRequest {
            job_id: id.to_owned(),
            job_file: job_file(),
            ..CreateJobRequest::default()
        };
        let created = self.jobs().create_job(request).await.unwrap();
        created.into_inner().job.unwrap()
    }

    /// Returns how many jobs there are.
    pub async fn open_job_count(&self) -> usize {
        let listed = self.jobs().list_jobs(ListJobsRequest::default()).await;
        listed.unwrap().into_inner().jobs.len()
    }

    /// Uploads a log in chunks of 1000 bytes.
    pub async fn upload(&self, open: OpenUpload, log: &[u8]) -> Result<Pull, Status> {
        let mut messages = vec![Message::Open(open)];
        messages.extend(log.chunks(1000).map(|chunk| Message::Chunk(chunk.to_vec())));
        let messages = messages.into_iter().map(|message| UploadPullRequest {
            message: Some(message),
        });
        let messages: Vec<_> = messages.collect();
        let uploaded = self
            .pulls()
            .upload_pull(tokio_stream::iter(messages))
            .await?;
        Ok(uploaded.into_inner().pull.unwrap())
    }

    /// Submits the usual log to a job, then has a proposal computed.
    pub async fn proposal(&self, job: &str) -> Proposal {
        self.upload(upload_of(job), log().as_bytes()).await.unwrap();
        self.propose(job).await.unwrap()
    }

    pub async fn propose(&self, job: &str) -> Result<Proposal, Status> {
        let request = CreateProposalRequest {
            parent: format!("jobs/{job}"),
            ..CreateProposalRequest::default()
        };
        let created = self
            .corrections()
            .create_proposal(by("Tova", request))
            .await?;
        Ok(created.into_inner().proposal.unwrap())
    }
}

pub async fn connect(address: SocketAddr) -> Channel {
    let endpoint = tonic::transport::Endpoint::from_shared(format!("http://{address}")).unwrap();
    endpoint.connect().await.unwrap()
}

/// Returns what opens an upload of the usual log.
pub fn upload_of(job: &str) -> OpenUpload {
    OpenUpload {
        parent: format!("jobs/{job}"),
        bay: "east".to_owned(),
        source_name: "pull.csv".to_owned(),
        ..OpenUpload::default()
    }
}

/// Returns a request with the token of who asks.
pub fn by<T>(name: &str, message: T) -> Request<T> {
    with_token(token_of(name).text(), message)
}

/// Returns a request with a token, or whatever is given for one.
pub fn with_token<T>(token: &str, message: T) -> Request<T> {
    let mut request = Request::new(message);
    let header = format!("Bearer {token}").parse().unwrap();
    request.metadata_mut().insert("authorization", header);
    request
}

/// The axes of [`job_file`].
pub const RPM: [f64; 4] = [2000.0, 4000.0, 6000.0, 8000.0];
pub const PLATE_PERCENT: [f64; 3] = [10.0, 40.0, 80.0];

/// An invented job: a small table in percent, target lambda 0.95 everywhere.
pub fn job_file() -> String {
    r#"
name = "Invented 400"
[engine]
strokes = 4
displacement_cc = 400.0
cylinders = 2
[fuel]
name = "petrol"
stoichiometric_afr = 14.3
[axes]
rpm = [2000, 4000, 6000, 8000]
plate_percent = [10, 40, 80]
[table]
content = "percent"
resolution = 0.1
values = [[0, 0, 0, 0], [0, 0, 0, 0], [0, 0, 0, 0]]
[target]
lambda = 0.95
[bays.east]
delay = { cycles = 1.0, gas_volume_l = 1.0, lag_s = 0.05 }
[bays.west]
"#
    .to_owned()
}

/// Rows of a pull that holds every node twice for five seconds at 20 Hz; lambda is 4 % too lean
/// everywhere, with a little waver. All numbers have few decimals, so that their text is the same in
/// single and double precision.
pub fn rows() -> Vec<[f64; 4]> {
    let mut rows = Vec::new();
    for _ in 0..2 {
        for plate_percent in PLATE_PERCENT {
            for rpm in RPM {
                for _ in 0..100 {
                    let index = rows.len() as f64;
                    let waver = 0.004 * (index * 0.7).sin() + 0.003 * (index * 2.3).cos();
                    let lambda = (9500.0 * (1.04 + waver)).round() / 10_000.0;
                    rows.push([index * 5.0 / 100.0, rpm, plate_percent, lambda]);
                }
            }
        }
    }
    rows
}

/// The rows of [`rows`] as a log with the standard column names.
pub fn log() -> String {
    let mut log = String::from("offset_s,rpm,plate_percent,lambda\n");
    for [offset_s, rpm, plate_percent, lambda] in rows() {
        let _ = writeln!(log, "{offset_s},{rpm},{plate_percent},{lambda}");
    }
    log
}

/// Returns code, reason and first wrong field of a refusal, and asserts what holds of every refusal.
pub fn told<T>(result: Result<T, Status>) -> String {
    let Err(status) = result else {
        panic!("it was granted");
    };
    let details = status.get_error_details();
    let info = details
        .error_info()
        .unwrap_or_else(|| panic!("no ErrorInfo: {status:?}"));
    assert_eq!(info.domain, "baytrim");
    assert!(!status.message().is_empty());
    let field = details
        .bad_request()
        .map(|request| request.field_violations[0].field.clone());
    let words = [format!("{:?}", status.code()), info.reason.clone()];
    words.into_iter().chain(field).collect::<Vec<_>>().join(" ")
}

/// Returns one piece of a refusal's metadata.
pub fn metadata(status: &Status, key: &str) -> String {
    let details = status.get_error_details();
    let info = details.error_info().unwrap();
    info.metadata.get(key).cloned().unwrap_or_default()
}

pub fn inner<T>(response: Response<T>) -> T {
    response.into_inner()
}
