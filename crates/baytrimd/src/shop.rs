//! The executor: loads a job, lets `baytrim-jobs` decide, records what it decided.
//!
//! A reply never precedes the durable append that it reports. All calls here block; async code goes
//! through [`crate::compute`].

mod cache;
mod load;
#[cfg(test)]
mod tests;

use std::sync::Arc;

use baytrim_jobs::state::Outcome;
use baytrim_jobs::{JobState, Refusal, codec};
use baytrim_ledger::{AppendError, Head, Store, StoreFault, StreamName, chain};
use baytrim_model::ids::{Actor, JobId, RequestId};
use baytrim_model::job::JobSpec;
use baytrim_model::record::{JobEvent, JobRecord, RECORD_VERSION};

use crate::clock;
use crate::compute::Compute;
use crate::config::ServiceLimits;
use crate::evidence::EvidenceCache;
use crate::fault::{Fault, InternalFault};
use crate::limits::DECIDE_TRIES_MAX;
use crate::metrics::{Metered, Metrics};

use cache::JobCache;

/// What all streams of jobs are called, before the job's name.
pub const JOB_PREFIX: &str = "job/";

/// The shop: all jobs over one store.
pub struct Shop {
    store: Arc<dyn Store>,
    jobs: JobCache,
    evidence: EvidenceCache,
    compute: Compute,
    metrics: Arc<Metrics>,
    limits: ServiceLimits,
}

/// A job as its records tell it up to a head.
#[derive(Debug, Clone)]
pub struct Loaded {
    /// The job.
    pub state: Arc<JobState>,
    /// Head of its stream.
    pub head: Head,
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

impl Shop {
    /// Returns the shop over `store`.
    pub fn new(store: Arc<dyn Store>, limits: ServiceLimits) -> Self {
        let metrics = Arc::new(Metrics::new());
        Self {
            store: Arc::new(Metered::new(store, Arc::clone(&metrics))),
            jobs: JobCache::default(),
            evidence: EvidenceCache::default(),
            compute: Compute::new(limits.compute_max, Arc::clone(&metrics)),
            metrics,
            limits,
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
        Ok(self.jobs.load(&*self.store, id)?)
    }

    /// Opens a job.
    ///
    /// # Errors
    /// [`Refusal::JobExists`], [`Refusal::RequestIdReused`], or the store's fault.
    pub fn open_job(&self, spec: &JobSpec, author: &Author) -> Result<Decided, Fault> {
        self.commit(&spec.id, author, |job| match job {
            None => Ok(Step::Record(baytrim_jobs::open::event(spec.clone()))),
            Some(job) => match before(job, author, &|outcome| outcome == Outcome::Opened)? {
                Some(outcome) => Ok(Step::Repeat(outcome)),
                None => Err(Refusal::JobExists(spec.id.clone()).into()),
            },
        })
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
        self.commit(id, author, |job| {
            let job = job.ok_or_else(|| Refusal::JobUnknown(id.to_string()))?;
            match before(job, author, is_same)? {
                Some(outcome) => Ok(Step::Repeat(outcome)),
                None => plan(job).map(Step::Record),
            }
        })
    }

    fn commit(
        &self,
        id: &JobId,
        author: &Author,
        mut step: impl FnMut(Option<&Loaded>) -> Result<Step, Fault>,
    ) -> Result<Decided, Fault> {
        let stream = stream_of(id);
        for _ in 0..DECIDE_TRIES_MAX {
            let job = self.find_job(id)?;
            let event = match step(job.as_ref())? {
                Step::Record(event) => event,
                Step::Repeat(outcome) => {
                    let job = job.ok_or(InternalFault::Impossible("a repeat of no job"))?;
                    return Ok(Decided {
                        job,
                        outcome,
                        is_repeat: true,
                    });
                }
            };
            let outcome = outcome_of(&event);
            let expected = job.map_or(Head::EMPTY, |job| job.head);
            if self.append(&stream, &expected, &record(author, event))? {
                let job = self.job(id)?;
                return Ok(Decided {
                    job,
                    outcome,
                    is_repeat: false,
                });
            }
        }
        Err(Fault::Contended {
            job: id.to_string(),
        })
    }

    /// Appends one record; returns whether it landed, false meaning that another was first.
    fn append(
        &self,
        stream: &StreamName,
        expected: &Head,
        record: &JobRecord,
    ) -> Result<bool, Fault> {
        let bodies = [codec::encode(record).map_err(InternalFault::from)?];
        match self.store.append(stream, expected, &bodies) {
            Ok(_) => Ok(true),
            Err(AppendError::Conflict { .. }) => Ok(false),
            Err(AppendError::Fault(fault)) => {
                let [body] = bodies;
                self.resolve(stream, expected, body, fault)
            }
            Err(other) => Err(other.into()),
        }
    }

    /// Finds out whether an append that failed has landed all the same, by the hash that it would have.
    fn resolve(
        &self,
        stream: &StreamName,
        expected: &Head,
        body: Vec<u8>,
        fault: StoreFault,
    ) -> Result<bool, Fault> {
        tracing::warn!(%stream, error = %fault, "an append failed; reading back whether it landed");
        let ours = chain::seal(stream, expected, body);
        let Ok(found) = self.store.read(stream, expected.next_seq, 1) else {
            return Err(InternalFault::Ambiguous {
                stream: stream.to_string(),
                source: fault,
            }
            .into());
        };
        match found.first() {
            Some(record) => Ok(record.hash == ours.hash),
            None => Err(fault.into()),
        }
    }
}

enum Step {
    Record(JobEvent),
    Repeat(Outcome),
}

/// Returns the name of a job's stream.
///
/// # Panics
/// Never: every job's name is a good part of a stream's.
pub fn stream_of(id: &JobId) -> StreamName {
    StreamName::new(&format!("{JOB_PREFIX}{id}"))
        .expect("a job's name is a good part of a stream's")
}

/// Folds a job from its first record, past any cache.
///
/// # Errors
/// The store's fault, or records that tell no job.
pub fn fold(store: &dyn Store, stream: &StreamName) -> Result<Option<Loaded>, InternalFault> {
    load::catch_up(store, stream, None)
}

fn record(author: &Author, event: JobEvent) -> JobRecord {
    JobRecord {
        version: RECORD_VERSION,
        at: clock::now(),
        by: author.by.clone(),
        request_id: author.request_id.clone(),
        event,
    }
}

/// Returns what this very request came to before.
fn before(
    job: &Loaded,
    author: &Author,
    is_same: &dyn Fn(Outcome) -> bool,
) -> Result<Option<Outcome>, Refusal> {
    let request_id = author.request_id.as_ref();
    match (job.state.outcome(request_id), request_id) {
        (Some(outcome), _) if is_same(outcome) => Ok(Some(outcome)),
        (Some(_), Some(id)) => Err(Refusal::RequestIdReused(id.0.clone())),
        _ => Ok(None),
    }
}

fn outcome_of(event: &JobEvent) -> Outcome {
    match event {
        JobEvent::JobOpened { .. } => Outcome::Opened,
        JobEvent::PullFinished { pull } => Outcome::Pull(pull.id),
        JobEvent::ProposalMade { proposal } => Outcome::Proposal(proposal.id),
        JobEvent::ProposalApproved { proposal, .. } => Outcome::Approved(*proposal),
        JobEvent::ProposalRejected { proposal, .. } => Outcome::Rejected(*proposal),
        JobEvent::TableReverted { revision } => Outcome::Reverted(revision.id),
        JobEvent::TableExported { revision, .. } => Outcome::Exported(*revision),
    }
}

impl std::fmt::Debug for Shop {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Shop")
            .field("limits", &self.limits)
            .finish_non_exhaustive()
    }
}
