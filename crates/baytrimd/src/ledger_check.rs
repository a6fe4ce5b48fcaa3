//! Proves the whole ledger: every record, every blob, and that every job, bay and the shop itself fold from their records.

use std::collections::{BTreeMap, BTreeSet};
use std::error::Error as _;

use baytrim_jobs::{BayState, JobBrief, JobState};
use baytrim_ledger::{
    BlobError, BlobId, Hash, Hasher, Head, Store, StoreFault, StreamName, VerifyProgress,
    VerifyReport,
};

use baytrim_model::ids::UnixMillis;

use crate::access;
use crate::checkpoints;
use crate::fault::InternalFault;
use crate::retention::{RETENTION_STREAM, removed_logs};
use crate::shop::{BAY_PREFIX, JOB_PREFIX, Loaded, fold, kept_brief};

/// Streams that are read at a time.
const READ_STREAMS: usize = 256;

/// What a check of the whole ledger found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LedgerCheck {
    /// What the store says of itself.
    pub report: VerifyReport,
    /// Jobs that were folded.
    pub job_count: u64,
    /// Bays that were folded.
    pub bay_count: u64,
    /// Logs that are not there, and that the ledger says were removed by rule.
    pub removed_log_count: u64,
    /// Checkpoints whose signature and heads were checked.
    pub checkpoint_count: u64,
    /// The first fault: where, what, what to do.
    pub first_fault: Option<String>,
    /// Head of the whole ledger: see [`head_of_all`].
    pub ledger_head: Hash,
}

/// Logs that the ledger says were removed by rule, and those of them that are named and not there.
#[derive(Default)]
struct Removed {
    logs: BTreeMap<BlobId, UnixMillis>,
    met: BTreeSet<BlobId>,
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
    let (mut job_count, mut bay_count) = (0, 0);
    let mut removed = Removed::default();
    if first_fault.is_none() {
        match removed_logs(store) {
            Ok(logs) => removed.logs = logs,
            Err(fault) => first_fault = Some(misfit(RETENTION_STREAM, &fault)),
        }
    }
    if first_fault.is_none() {
        each_stream(store, JOB_PREFIX, |stream, _| {
            if first_fault.is_none() {
                job_count += 1;
                first_fault = check_job(store, stream, &mut removed);
            }
        })?;
        each_stream(store, BAY_PREFIX, |stream, _| {
            if first_fault.is_none() {
                bay_count += 1;
                first_fault = fold::<BayState>(store, stream)
                    .err()
                    .map(|fault| misfit(stream, &fault));
            }
        })?;
    }
    if first_fault.is_none() {
        let fault = access::fold(store).err();
        first_fault = fault.map(|fault| misfit(access::SHOP_STREAM, &fault));
    }
    let mut checkpoint_count = 0;
    if first_fault.is_none() {
        (checkpoint_count, first_fault) = checkpoints::check(store)?;
    }
    Ok(LedgerCheck {
        report,
        checkpoint_count,
        removed_log_count: removed.met.len() as u64,
        job_count,
        bay_count,
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
    let mut heads = Vec::new();
    each_stream(store, "", |stream, head| {
        heads.push((stream.clone(), *head));
    })?;
    Ok(head_over(
        heads.iter().map(|(stream, head)| (stream, *head)),
    ))
}

/// Returns the head over streams with their heads, in byte order of their names: see [`head_of_all`].
pub fn head_over<'a>(streams: impl Iterator<Item = (&'a StreamName, Head)>) -> Hash {
    let mut hasher = Hasher::new();
    for (stream, head) in streams {
        let name = stream.as_str().as_bytes();
        hasher.update(&u32::try_from(name.len()).unwrap_or(u32::MAX).to_le_bytes());
        hasher.update(name);
        hasher.update(&head.next_seq.to_le_bytes());
        hasher.update(&head.hash.0);
    }
    hasher.finish()
}

/// Calls `take` with every stream whose name begins with `prefix`, and its head.
///
/// # Errors
/// The store's fault.
pub(crate) fn each_stream(
    store: &dyn Store,
    prefix: &str,
    mut take: impl FnMut(&StreamName, &Head),
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
fn check_job(store: &dyn Store, stream: &StreamName, removed: &mut Removed) -> Option<String> {
    match fold::<JobState>(store, stream) {
        Ok(Some(job)) => check_logs(store, stream, &job.state, removed)
            .or_else(|| check_brief(store, stream, &job)),
        Ok(None) => Some(format!(
            "stream {stream}: holds no record; restore it from a backup"
        )),
        Err(fault) => Some(misfit(stream, &fault)),
    }
}

/// What lists tell of a job must be what its records tell.
fn check_brief(store: &dyn Store, stream: &StreamName, job: &Loaded) -> Option<String> {
    match kept_brief(store, stream, &job.head) {
        Ok(Some(kept)) if kept != JobBrief::of(&job.state) => Some(format!(
            "stream {stream}: lists tell other of it than its records; no record is lost: stop the daemon, remove the directory `index`, start again"
        )),
        Ok(_) => None,
        Err(fault) => Some(format!("stream {stream}: {fault}")),
    }
}

fn misfit(stream: impl std::fmt::Display, fault: &InternalFault) -> String {
    let source = fault.source().map(ToString::to_string).unwrap_or_default();
    format!(
        "stream {stream}: {fault}: {source}; it was written by another program, or by a later version"
    )
}

/// Every log that a record names must be there, or have been removed by rule; evidence may be gone, since it can be computed again.
fn check_logs(
    store: &dyn Store,
    stream: &StreamName,
    state: &JobState,
    removed: &mut Removed,
) -> Option<String> {
    state.pulls.iter().find_map(|pull| {
        let record = &pull.record;
        let problem = match record.log_blob.parse::<BlobId>() {
            Err(error) => error.to_string(),
            Ok(id) => match store.open_blob(&id) {
                Ok(_) => return None,
                Err(BlobError::Missing { .. }) if removed.logs.contains_key(&id) => {
                    removed.met.insert(id);
                    return None;
                }
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
