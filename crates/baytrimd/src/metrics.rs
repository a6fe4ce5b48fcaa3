//! What the daemon counts about itself, in the `OpenMetrics` text form that Prometheus reads.
//!
//! Names follow the conventions of that form: units in the name, counters end with `_total`. Nothing here names
//! a job, a person or a vehicle.

mod process;
pub mod requests;
pub mod serve;
mod store;

use std::collections::HashSet;
use std::time::Instant;

use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::{Histogram, exponential_buckets};
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};
use prost::Message as _;
use prost_types::FileDescriptorSet;

pub use store::Metered;

/// What requests of the review page are counted as.
const PAGE: &str = "page";

/// What requests for methods that there are not are counted as: names that callers make up would have no end.
const UNKNOWN: &str = "unknown";

/// One method and how its calls ended.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub struct Call {
    /// The path of the method, or `page` for the review page.
    pub method: String,
    /// The gRPC status by name, or the HTTP status by number.
    pub code: String,
}

/// One method.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub struct Method {
    /// The path of the method, or `page` for the review page.
    pub method: String,
}

/// One kind of write to the store.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub struct Write {
    /// `record` or `spool`.
    pub what: &'static str,
}

/// How a write to the store ended.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub struct Written {
    /// `record` or `spool`.
    pub what: &'static str,
    /// `durable`, `refused` or `failed`.
    pub ended: &'static str,
}

/// One kind of thing that is kept in memory within bounds.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub struct Kept {
    /// `evidence` of pulls, or `rows` of their logs.
    pub what: &'static str,
}

/// The receiver of messages has it.
pub const MESSAGE_TAKEN: &str = "taken";

/// A message was tried again and again, and given up.
pub const MESSAGE_GIVEN_UP: &str = "given_up";

/// One end of messages.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub struct Messaged {
    /// `taken` or `given_up`.
    pub ended: &'static str,
}

/// All figures, shared by whoever moves them.
#[derive(Debug)]
pub struct Metrics {
    registry: Registry,
    /// Paths of all methods.
    methods: HashSet<String>,
    /// Requests by method and outcome.
    pub requests: Family<Call, Counter>,
    /// Seconds until a request was answered, or its stream ended.
    pub request_duration: Family<Method, Histogram, fn() -> Histogram>,
    /// Requests and streams under way.
    pub requests_running: Gauge,
    /// Live pulls that are connected.
    pub live_pulls: Gauge,
    /// Rows of live pulls that became durable.
    pub samples: Counter,
    /// Fits and logs being computed.
    pub compute_running: Gauge,
    /// Fits and logs that wait for room.
    pub compute_waiting: Gauge,
    /// Seconds of heavy work, waiting not counted.
    pub compute_duration: Histogram,
    /// Proposals that were computed, recorded or not.
    pub proposals_computed: Counter,
    /// Bytes that are kept in memory so as not to be read again.
    cached: Family<Kept, Gauge>,
    /// Writes to the store by what and how they ended.
    pub writes: Family<Written, Counter>,
    /// Seconds until a write was durable.
    pub write_duration: Family<Write, Histogram, fn() -> Histogram>,
    /// Bytes that became durable.
    pub written: Counter,
    /// Whether the store lacks what was seen in it.
    pub store_behind: Gauge,
    /// Records with a time that is before that of the one before them.
    pub clock_back: Counter,
    /// Messages to the webhook by how they ended.
    pub messages: Family<Messaged, Counter>,
}

impl Metrics {
    /// Returns figures that all begin at nothing.
    pub fn new() -> Self {
        let mut metrics = Self {
            registry: Registry::default(),
            methods: methods(),
            requests: Family::default(),
            request_duration: Family::new_with_constructor(long),
            requests_running: Gauge::default(),
            live_pulls: Gauge::default(),
            samples: Counter::default(),
            compute_running: Gauge::default(),
            compute_waiting: Gauge::default(),
            compute_duration: long(),
            proposals_computed: Counter::default(),
            cached: Family::default(),
            writes: Family::default(),
            write_duration: Family::new_with_constructor(short),
            written: Counter::default(),
            store_behind: Gauge::default(),
            clock_back: Counter::default(),
            messages: Family::default(),
        };
        metrics.register();
        metrics
    }

    fn register(&mut self) {
        // The system's figures have names of their own that every program shares.
        self.registry.register_collector(Box::new(process::Process));
        let registry = self.registry.sub_registry_with_prefix("baytrim");
        registry.register(
            "build",
            "The version that runs",
            Info::new([("version", env!("CARGO_PKG_VERSION"))]),
        );
        registry.register(
            "requests",
            "Requests by method and outcome",
            self.requests.clone(),
        );
        registry.register_with_unit(
            "request_duration",
            "Time until a request was answered, or its stream ended",
            Unit::Seconds,
            self.request_duration.clone(),
        );
        registry.register(
            "proposals_computed",
            "Proposals that were computed, recorded or not",
            self.proposals_computed.clone(),
        );
        registry.register(
            "requests_running",
            "Requests and streams under way",
            self.requests_running.clone(),
        );
        registry.register(
            "live_pulls",
            "Live pulls that are connected",
            self.live_pulls.clone(),
        );
        registry.register(
            "live_samples",
            "Rows of live pulls that became durable",
            self.samples.clone(),
        );
        registry.register(
            "compute_running",
            "Fits and logs being computed",
            self.compute_running.clone(),
        );
        registry.register(
            "compute_waiting",
            "Fits and logs that wait for room",
            self.compute_waiting.clone(),
        );
        registry.register_with_unit(
            "compute_duration",
            "Time of heavy work, waiting not counted",
            Unit::Seconds,
            self.compute_duration.clone(),
        );
        registry.register_with_unit(
            "cached",
            "Memory of what is kept so as not to be read again",
            Unit::Bytes,
            self.cached.clone(),
        );
        registry.register(
            "store_writes",
            "Writes to the store by what they wrote and how they ended",
            self.writes.clone(),
        );
        registry.register_with_unit(
            "store_write_duration",
            "Time until a write was durable",
            Unit::Seconds,
            self.write_duration.clone(),
        );
        registry.register_with_unit(
            "store_written",
            "Content that became durable",
            Unit::Bytes,
            self.written.clone(),
        );
        registry.register(
            "store_behind",
            "1 while the store lacks records that were seen in it",
            self.store_behind.clone(),
        );
        registry.register(
            "records_before_predecessor",
            "Records with a time before that of the one before them: the clock was set back",
            self.clock_back.clone(),
        );
        registry.register(
            "webhook_messages",
            "Messages to the webhook by how they ended",
            self.messages.clone(),
        );
    }

    /// Returns where the bytes of what is kept in memory are told.
    pub fn cached(&self, what: &'static str) -> Gauge {
        self.cached.get_or_create_owned(&Kept { what })
    }

    /// Counts a message to the webhook that ended.
    pub fn message(&self, ended: &'static str) {
        self.messages.get_or_create(&Messaged { ended }).inc();
    }

    /// Returns how many writes the store could not make.
    pub fn failed_writes(&self) -> u64 {
        let failed = store::KINDS.map(|what| {
            let ended = store::FAILED;
            self.writes.get_or_create(&Written { what, ended }).get()
        });
        failed.iter().sum()
    }

    /// Returns what requests of `path` are counted as.
    fn method_of<'a>(&self, path: &'a str) -> &'a str {
        if self.methods.contains(path) {
            path
        } else if path.starts_with("/baytrim.") || path.starts_with("/grpc.") {
            UNKNOWN
        } else {
            PAGE
        }
    }

    /// Counts and times heavy work.
    #[expect(
        clippy::disallowed_methods,
        reason = "how long work took goes into metrics only"
    )]
    pub fn computing<T>(&self, work: impl FnOnce() -> T) -> T {
        let _running = Counted::new(&self.compute_running);
        let began = Instant::now();
        let done = work();
        self.compute_duration.observe(began.elapsed().as_secs_f64());
        done
    }

    /// Returns all figures as `OpenMetrics` text.
    ///
    /// # Errors
    /// When the text can't be written, which memory alone could cause.
    pub fn render(&self) -> Result<String, std::fmt::Error> {
        let mut text = String::new();
        encode(&mut text, &self.registry)?;
        Ok(text)
    }
}

impl Default for Metrics {
    fn default() -> Self {
        Self::new()
    }
}

/// Returns the paths of all methods of the API and of the standard services beside it.
fn methods() -> HashSet<String> {
    let sets = [
        baytrim_api::DESCRIPTORS,
        tonic_health::pb::FILE_DESCRIPTOR_SET,
        tonic_reflection::pb::v1::FILE_DESCRIPTOR_SET,
    ];
    let mut paths = HashSet::new();
    for file in sets
        .into_iter()
        .flat_map(|set| FileDescriptorSet::decode(set).unwrap_or_default().file)
    {
        for service in &file.service {
            let name = format!("{}.{}", file.package(), service.name());
            let methods = service.method.iter();
            paths.extend(methods.map(|method| format!("/{name}/{}", method.name())));
        }
    }
    paths
}

/// Counts something while it lives.
#[derive(Debug)]
pub struct Counted(Gauge);

impl Counted {
    /// Adds one to `gauge` until dropped.
    pub fn new(gauge: &Gauge) -> Self {
        gauge.inc();
        Self(gauge.clone())
    }
}

impl Drop for Counted {
    fn drop(&mut self) {
        self.0.dec();
    }
}

/// From 0.1 ms to 1.6 s: a sync of a disk.
fn short() -> Histogram {
    Histogram::new(exponential_buckets(0.0001, 2.0, 15))
}

/// From 1 ms to 16 s: a request with a fit in it.
fn long() -> Histogram {
    Histogram::new(exponential_buckets(0.001, 2.0, 15))
}
