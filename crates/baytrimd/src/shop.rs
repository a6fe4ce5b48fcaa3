//! The executor: loads a job or a bay, lets `baytrim-jobs` decide, records what it decided.
//!
//! A reply never precedes the durable append that it reports. All calls here block; async code goes
//! through [`crate::compute`].

mod bays;
mod briefs;
mod cache;
mod commit;
mod list;
mod load;
mod news;
mod rules;
#[cfg(test)]
mod tests;

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard, TryLockError};

use baytrim_jobs::state::Outcome;
use baytrim_jobs::{BayState, Fold, JobState, Refusal};
use baytrim_ledger::{Head, Store, StreamName};
use baytrim_model::ids::{Actor, JobId, RequestId, UnixMillis};
use baytrim_model::job::JobSpec;
use baytrim_model::record::JobEvent;
use serde::de::DeserializeOwned;

use crate::access::Access;
use crate::claim::Claims;
use crate::clock;
use crate::compute::Compute;
use crate::config::ServiceLimits;
use crate::evidence::EvidenceCache;
use crate::fault::{Fault, InternalFault};
use crate::judged::JudgedCache;
use crate::metrics::{Metered, Metrics};

use cache::FoldCache;
use commit::{Committed, Step, before};

pub use bays::{BAY_PREFIX, stream_of_bay};
pub(crate) use briefs::{kept as kept_brief, make_missing as make_missing_briefs};
pub use load::decode;
pub use news::News;

/// What all streams of jobs are called, before the job's name.
pub const JOB_PREFIX: &str = "job/";

/// The shop: all jobs and bays over one store.
pub struct Shop {
    store: Arc<dyn Store>,
    jobs: FoldCache<JobState>,
    bays: FoldCache<BayState>,
    evidence: EvidenceCache,
    judged: JudgedCache,
    changes: AtomicU64,
    compute: Compute,
    metrics: Arc<Metrics>,
    news: News,
    claims: Claims,
    /// Held for reading from the moment that a blob is looked at until a record names it.
    blobs: RwLock<()>,
    limits: ServiceLimits,
    /// Who works here; without it, whom the ledger names.
    access: Option<Access>,
}

/// A job, or a bay, as its records tell it up to a head.
#[derive(Debug, Clone)]
pub struct Loaded<S = JobState> {
    /// The job.
    pub state: Arc<S>,
    /// Head of its stream.
    pub head: Head,
    /// What the clock said at its last record.
    pub at: UnixMillis,
}

/// Who asks, and the client's own name for the request.
#[derive(Debug, Clone, PartialEq)]
pub struct Author {
    /// Who asks.
    pub by: Actor,
    /// The client's own name for the request, where it gave one.
    pub request_id: Option<RequestId>,
}

/// What a request came to.
#[derive(Debug, Clone)]
pub struct Decided {
    /// The job with what was recorded.
    pub job: Loaded,
    /// What was recorded.
    pub outcome: Outcome,
    /// Whether it had been recorded before, by the same request.
    pub is_repeat: bool,
}

impl From<Committed<JobState>> for Decided {
    fn from(committed: Committed<JobState>) -> Self {
        Self {
            job: committed.loaded,
            outcome: committed.outcome,
            is_repeat: committed.is_repeat,
        }
    }
}

impl Shop {
    /// Returns the shop over `store`.
    pub fn new(store: Arc<dyn Store>, limits: ServiceLimits) -> Self {
        let metrics = Arc::new(Metrics::new());
        Self {
            store: Arc::new(Metered::new(store, Arc::clone(&metrics))),
            jobs: FoldCache::default(),
            bays: FoldCache::default(),
            evidence: EvidenceCache::new(metrics.cached("evidence")),
            judged: JudgedCache::new(metrics.cached("rows")),
            // A daemon begun anew counts on from another number: pages look again.
            changes: AtomicU64::new(clock::now().0.unsigned_abs()),
            compute: Compute::new(limits.compute_max, Arc::clone(&metrics)),
            metrics,
            news: News::new(),
            claims: Claims::default(),
            blobs: RwLock::new(()),
            limits,
            access: None,
        }
    }

    /// Returns where it is told what was recorded.
    pub fn news(&self) -> &News {
        &self.news
    }

    /// Returns the shop with those who work in it.
    #[must_use]
    pub fn with(self, access: Access) -> Self {
        Self {
            access: Some(access),
            ..self
        }
    }

    /// Returns the store.
    pub fn store(&self) -> &Arc<dyn Store> {
        &self.store
    }

    /// Returns the evidence that is kept in memory.
    pub fn evidence(&self) -> &EvidenceCache {
        &self.evidence
    }

    /// Returns the rows of pulls that are kept in memory.
    pub fn judged(&self) -> &JudgedCache {
        &self.judged
    }

    /// Returns a number that is another one whenever this daemon has recorded something since.
    pub fn changes(&self) -> u64 {
        self.changes.load(Ordering::Relaxed)
    }

    /// Tells those who watch that something was recorded in `stream`, here or by another daemon.
    pub(crate) fn heard(&self, stream: &StreamName) {
        self.changes.fetch_add(1, Ordering::Relaxed);
        self.news.tell(stream);
    }

    /// Keeps every blob where it is, until what is returned is dropped.
    pub(crate) fn keep_blobs(&self) -> RwLockReadGuard<'_, ()> {
        self.blobs.read().unwrap_or_else(PoisonError::into_inner)
    }

    /// Keeps everybody from naming blobs until what is returned is dropped; none while somebody is about to.
    pub(crate) fn blobs_for_removal(&self) -> Option<RwLockWriteGuard<'_, ()>> {
        match self.blobs.try_write() {
            Ok(guard) => Some(guard),
            Err(TryLockError::Poisoned(guard)) => Some(guard.into_inner()),
            Err(TryLockError::WouldBlock) => None,
        }
    }

    /// Returns the claims on heavy work.
    pub(crate) fn claims(&self) -> &Claims {
        &self.claims
    }

    /// Returns the room for heavy work.
    pub fn compute(&self) -> &Compute {
        &self.compute
    }

    /// Returns what is counted.
    pub fn metrics(&self) -> &Arc<Metrics> {
        &self.metrics
    }

    /// Returns the limits that were configured.
    pub fn limits(&self) -> &ServiceLimits {
        &self.limits
    }

    /// Returns a job as it is now.
    ///
    /// # Errors
    /// [`Refusal::JobUnknown`], or the store's fault.
    pub fn job(&self, id: &JobId) -> Result<Loaded, Fault> {
        self.find_job(id)?
            .ok_or_else(|| Refusal::JobUnknown(id.to_string()).into())
    }

    /// Returns a job as it is now, where there is one.
    ///
    /// # Errors
    /// The store's fault, or records that tell no job.
    pub fn find_job(&self, id: &JobId) -> Result<Option<Loaded>, Fault> {
        Ok(self.jobs.load(&*self.store, &stream_of(id))?)
    }

    /// Opens a job.
    ///
    /// # Errors
    /// [`Refusal::JobExists`], [`Refusal::RequestIdReused`], or the store's fault.
    pub fn open_job(&self, spec: &JobSpec, author: &Author) -> Result<Decided, Fault> {
        let stream = stream_of(&spec.id);
        let committed = self.commit(&self.jobs, &stream, author, |job| match job {
            None => Ok(Step::Record(baytrim_jobs::open::event(spec.clone()))),
            Some(job) => match before(job, author, &|outcome| outcome == Outcome::Opened)? {
                Some(outcome) => Ok(Step::Repeat(outcome)),
                None => Err(Refusal::JobExists(spec.id.clone()).into()),
            },
        })?;
        self.keep_brief(&committed.loaded);
        Ok(committed.into())
    }

    /// Records the event that `plan` decides on, deciding anew while others are recorded first.
    ///
    /// `is_same` says which earlier outcome of the same request id is the answer to this request.
    ///
    /// # Errors
    /// What `plan` says, [`Refusal::RequestIdReused`], [`Fault::Contended`], or the store's fault.
    pub fn decide(
        &self,
        id: &JobId,
        author: &Author,
        is_same: &dyn Fn(Outcome) -> bool,
        mut plan: impl FnMut(&Loaded) -> Result<JobEvent, Fault>,
    ) -> Result<Decided, Fault> {
        let stream = stream_of(id);
        let committed = self.commit(&self.jobs, &stream, author, |job| {
            let job = job.ok_or_else(|| Refusal::JobUnknown(id.to_string()))?;
            match before(job, author, is_same)? {
                Some(outcome) => Ok(Step::Repeat(outcome)),
                None => plan(job).map(Step::Record),
            }
        })?;
        self.keep_brief(&committed.loaded);
        Ok(committed.into())
    }
}

/// Returns the name of a job's stream.
///
/// # Panics
/// Never: every job's name is a good part of a stream's.
pub fn stream_of(id: &JobId) -> StreamName {
    StreamName::new(&format!("{JOB_PREFIX}{id}"))
        .expect("a job's name is a good part of a stream's")
}

/// Returns the job whose records a stream holds; none where it holds others.
pub fn job_of(stream: &StreamName) -> Option<JobId> {
    stream.as_str().strip_prefix(JOB_PREFIX)?.parse().ok()
}

/// Folds a job or a bay from its first record, past any cache.
///
/// # Errors
/// The store's fault, or records that tell none.
pub fn fold<S: Fold>(
    store: &dyn Store,
    stream: &StreamName,
) -> Result<Option<Loaded<S>>, InternalFault>
where
    S::Event: DeserializeOwned,
{
    load::catch_up(store, stream, None)
}

impl std::fmt::Debug for Shop {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Shop")
            .field("limits", &self.limits)
            .finish_non_exhaustive()
    }
}
