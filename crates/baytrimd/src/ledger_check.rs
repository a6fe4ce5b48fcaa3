//! Proves the whole ledger: every record, every blob, and that every job folds from its records.

use std::error::Error as _;

use baytrim_jobs::JobState;
use baytrim_ledger::{
    BlobError, BlobId, Hash, Hasher, Store, StoreFault, StreamName, VerifyProgress, VerifyReport,
};

use crate::shop::{JOB_PREFIX, fold};

/// Streams that are read at a time.
const READ_STREAMS: usize = 256;

/// What a check of the whole ledger found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LedgerCheck {
    /// What the store says of itself.
    pub report: VerifyReport,
    /// Jobs that were folded.
    pub job_count: u64,
    /// The first fault: where, what, what to do.
    pub first_fault: Option<String>,
    /// Head of the whole ledger: see [`head_of_all`].
    pub ledger_head: Hash,
}

/// Checks the whole ledger.
///
/// # Errors
/// Only when it could not look; what it found wrong is in the answer.
pub fn check(
    store: &dyn Store,
    progress: &mut dyn FnMut(VerifyProgress),
) -> Result<LedgerCheck, StoreFault> {
    let report = store.verify(progress)?;
    let mut first_fault = report.first_damage.as_ref().map(ToString::to_string);
    let mut job_count = 0;
    if first_fault.is_none() {
        each_stream(store, JOB_PREFIX, |stream, _| {
            if first_fault.is_none() {
                job_count += 1;
                first_fault = check_job(store, stream);
            }
        })?;
    }
    Ok(LedgerCheck {
        report,
        job_count,
        first_fault,
        ledger_head: head_of_all(store)?,
    })
}

/// Returns the head of the whole ledger: the SHA-256 over all streams in byte order of their names, each
/// as the length of its name (u32, little-endian), the name, the number of its records (u64,
/// little-endian) and the hash of its last record.
///
/// # Errors
/// The store's fault.
pub fn head_of_all(store: &dyn Store) -> Result<Hash, StoreFault> {
    let mut hasher = Hasher::new();
    each_stream(store, "", |stream, head| {
        let name = stream.as_str().as_bytes();
        hasher.update(&u32::try_from(name.len()).unwrap_or(u32::MAX).to_le_bytes());
        hasher.update(name);
        hasher.update(&head.next_seq.to_le_bytes());
        hasher.update(&head.hash.0);
    })?;
    Ok(hasher.finish())
}

fn each_stream(
    store: &dyn Store,
    prefix: &str,
    mut take: impl FnMut(&StreamName, &baytrim_ledger::Head),
) -> Result<(), StoreFault> {
    let mut after = None;
    loop {
        let streams = store.streams(prefix, after.as_ref(), READ_STREAMS)?;
        for (stream, head) in &streams {
            take(stream, head);
        }
        match streams.into_iter().next_back() {
            Some((last, _)) => after = Some(last),
            None => return Ok(()),
        }
    }
}

/// Returns what is wrong with a job, where something is.
fn check_job(store: &dyn Store, stream: &StreamName) -> Option<String> {
    match fold(store, stream) {
        Ok(Some(job)) => check_logs(store, stream, &job.state),
        Ok(None) => Some(format!(
            "stream {stream}: holds no record; restore it from a backup"
        )),
        Err(fault) => {
            let source = fault.source().map(ToString::to_string).unwrap_or_default();
            Some(format!(
                "stream {stream}: {fault}: {source}; it was written by another program, or by a later version"
            ))
        }
    }
}

/// Every log that a record names must be there; evidence may be gone, since it can be computed again.
fn check_logs(store: &dyn Store, stream: &StreamName, state: &JobState) -> Option<String> {
    state.pulls.iter().find_map(|pull| {
        let record = &pull.record;
        let problem = match record.log_blob.parse::<BlobId>() {
            Err(error) => error.to_string(),
            Ok(id) => match store.open_blob(&id) {
                Ok(_) => return None,
                Err(BlobError::Missing { .. }) => format!("its log {id} is not there"),
                Err(other) => other.to_string(),
            },
        };
        Some(format!(
            "stream {stream}, pull {}: {problem}; restore the log from a backup, or submit it again",
            record.id
        ))
    })
}
