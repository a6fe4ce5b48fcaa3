//! Evidence of pulls: written as blobs, kept in memory within bounds, computed again from the log
//! when a blob is gone or of another layout.

use std::sync::Arc;

use baytrim_estimate::PullEvidence;
use baytrim_estimate::evidence::EVIDENCE_VERSION;
use baytrim_jobs::JobState;
use baytrim_jobs::pulls::circumstances_of;
use baytrim_jobs::state::PullEntry;
use baytrim_ledger::{BlobError, BlobId, Store};
use baytrim_model::ids::PullId;
use prometheus_client::metrics::gauge::Gauge;

use crate::fault::{Fault, InternalFault};
use crate::intake;
use crate::limits::{EVIDENCE_BYTES_MAX, EVIDENCE_CACHE_BYTES_MAX};
use crate::recent::Recent;
use crate::retention::open_log;
use crate::shop::Loaded;

/// What every evidence blob begins with; a layout version of two bytes, low byte first, follows.
const MAGIC: &[u8; 17] = b"baytrim evidence\n";

/// Evidence kept in memory, by the name of its blob.
pub struct EvidenceCache(Recent<PullEvidence>);

impl EvidenceCache {
    /// Returns an empty one that tells `cached` its bytes.
    pub fn new(cached: Gauge) -> Self {
        Self(Recent::new(EVIDENCE_CACHE_BYTES_MAX, cached))
    }

    /// Returns the evidence of a pull of `job`.
    ///
    /// # Errors
    /// The store's fault, or a log that is gone too.
    pub fn of_pull(
        &self,
        store: &dyn Store,
        job: &Loaded,
        pull: &PullEntry,
    ) -> Result<Arc<PullEvidence>, Fault> {
        let name = &pull.record.evidence_blob;
        if let Some(evidence) = self.0.get(name) {
            return Ok(evidence);
        }
        let evidence = Arc::new(match stored(store, name)? {
            Some(found) => found,
            None => compute_again(store, job, pull)?,
        });
        let bytes = evidence.memory_bytes();
        self.0.put(name.clone(), Arc::clone(&evidence), bytes);
        Ok(evidence)
    }

    /// Returns the evidence of each of `pulls`.
    ///
    /// # Errors
    /// As [`EvidenceCache::of_pull`], or a pull that the job does not have.
    pub fn of_pulls(
        &self,
        store: &dyn Store,
        job: &Loaded,
        pulls: &[PullId],
    ) -> Result<Vec<Arc<PullEvidence>>, Fault> {
        let pulls = pulls.iter();
        pulls
            .map(|&id| self.of_pull(store, job, job.state.pull(id)?))
            .collect()
    }
}

/// Returns the bytes of an evidence blob.
///
/// # Errors
/// When the encoder fails, which it does not for evidence.
pub fn encode(evidence: &PullEvidence) -> Result<Vec<u8>, Fault> {
    let mut bytes = MAGIC.to_vec();
    bytes.extend(EVIDENCE_VERSION.to_le_bytes());
    postcard::to_extend(evidence, bytes).map_err(|error| {
        InternalFault::Decode {
            what: "evidence".to_owned(),
            source: error.into(),
        }
        .into()
    })
}

/// Returns the evidence that `bytes` hold; none when they are of another layout.
pub fn decode(bytes: &[u8]) -> Option<PullEvidence> {
    let rest = bytes.strip_prefix(MAGIC)?;
    let rest = rest.strip_prefix(&EVIDENCE_VERSION.to_le_bytes())?;
    postcard::from_bytes(rest).ok()
}

/// Returns the evidence of a blob; none when the blob is gone or of another layout.
fn stored(store: &dyn Store, name: &str) -> Result<Option<PullEvidence>, Fault> {
    let Ok(id) = name.parse::<BlobId>() else {
        return Ok(None);
    };
    match store.read_blob(&id, EVIDENCE_BYTES_MAX) {
        Ok(bytes) => Ok(decode(&bytes)),
        Err(BlobError::Missing { .. }) => Ok(None),
        Err(other) => Err(InternalFault::from(other).into()),
    }
}

/// Returns whether an evidence blob is there and of this program's layout.
///
/// # Errors
/// The store's fault.
pub(crate) fn is_kept(store: &dyn Store, name: &str) -> Result<bool, Fault> {
    Ok(stored(store, name)?.is_some())
}

fn compute_again(store: &dyn Store, job: &Loaded, pull: &PullEntry) -> Result<PullEvidence, Fault> {
    tracing::warn!(job = %job.state.id(), pull = %pull.record.id, "evidence is gone or of another layout; reading the log again");
    read_again(store, &job.state, pull)
}

/// Returns the evidence of a pull, from its log read again as it was read the first time.
///
/// # Errors
/// When the log is gone or can't be read any more, or the store fails.
pub fn read_again(
    store: &dyn Store,
    state: &JobState,
    pull: &PullEntry,
) -> Result<PullEvidence, Fault> {
    let record = &pull.record;
    let circumstances = circumstances_of(record);
    let mut reader = open_log(store, state.id(), record)?;
    let read =
        intake::read(state, &circumstances, &mut reader, &record.source_name).map_err(|fault| {
            match fault {
                Fault::Log(source) => InternalFault::Log {
                    pull: format!("{}/{}", state.id(), record.id),
                    source,
                }
                .into(),
                other => other,
            }
        })?;
    Ok(read.reading.evidence)
}
