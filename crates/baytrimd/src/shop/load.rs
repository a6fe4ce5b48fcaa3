//! Folding a job from its records.

use std::sync::Arc;

use baytrim_jobs::{JobState, codec};
use baytrim_ledger::{Record, Store, StreamName};

use super::Loaded;
use crate::fault::InternalFault;

/// Records that are read at a time.
const READ_RECORDS: usize = 64;

/// Brings `job` up to the end of its stream; none stays none while the stream is empty.
pub(super) fn catch_up(
    store: &dyn Store,
    stream: &StreamName,
    mut job: Option<Loaded>,
) -> Result<Option<Loaded>, InternalFault> {
    loop {
        let from = job.as_ref().map_or(0, |job| job.head.next_seq);
        let records = store.read(stream, from, READ_RECORDS)?;
        if records.is_empty() {
            return Ok(job);
        }
        for record in &records {
            job = Some(take(job, record)?);
        }
    }
}

fn take(job: Option<Loaded>, record: &Record) -> Result<Loaded, InternalFault> {
    let decoded = codec::decode(&record.body).map_err(|source| InternalFault::Record {
        stream: record.stream.to_string(),
        seq: record.seq,
        source,
    })?;
    let misfit = |source| InternalFault::Fold {
        stream: record.stream.to_string(),
        source,
    };
    let state = match job {
        None => Arc::new(JobState::opened(&decoded).map_err(misfit)?),
        Some(job) if job.head != record.head_before() => {
            return Err(InternalFault::Impossible(
                "a stream no longer goes on from where it was read before",
            ));
        }
        Some(mut job) => {
            Arc::make_mut(&mut job.state)
                .apply(&decoded)
                .map_err(misfit)?;
            job.state
        }
    };
    Ok(Loaded {
        state,
        head: record.head_after(),
    })
}
