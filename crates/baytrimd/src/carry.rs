//! Carrying jobs and whole ledgers from one place to another.

use std::collections::BTreeSet;
use std::fs::File;

use baytrim_archive::{Contents, RestoreError, Summary, compare, put};
use baytrim_jobs::{Fold as _, JobState, codec};
use baytrim_ledger::{BlobId, Record, Store, StreamName};
use baytrim_model::ids::JobId;

use crate::fault::{Fault, InternalFault};
use crate::retention::open_log;
use crate::shop::{Shop, job_of, stream_of};

/// Streams and blobs that are listed at a time.
const READ_NAMES: usize = 256;

/// Returns what the archive of one job holds: its records up to now, its logs, and its evidence where it is there.
///
/// # Errors
/// When there is no such job, or the store's fault.
pub fn job_contents(shop: &Shop, id: &JobId) -> Result<Contents, Fault> {
    let job = shop.job(id)?;
    let mut blobs = BTreeSet::new();
    for pull in &job.state.pulls {
        // Opened, so that one that was removed is told before anything is written.
        blobs.insert(open_log(&**shop.store(), id, &pull.record)?.id());
        // Evidence can be computed again from the log.
        if let Ok(evidence) = pull.record.evidence_blob.parse::<BlobId>()
            && shop.store().open_blob(&evidence).is_ok()
        {
            blobs.insert(evidence);
        }
    }
    Ok(Contents {
        streams: vec![(stream_of(id), job.head)],
        blobs: blobs.into_iter().collect(),
    })
}

/// Returns what the archive of the whole ledger holds: every stream up to its head now, and every blob. Blobs are
/// listed after the heads, so that whatever those records name is among them.
///
/// # Errors
/// The store's fault.
pub fn all_contents(store: &dyn Store) -> Result<Contents, Fault> {
    let mut contents = Contents::default();
    loop {
        let after = contents.streams.last().map(|(name, _)| name.clone());
        let streams = store.streams("", after.as_ref(), READ_NAMES)?;
        if streams.is_empty() {
            break;
        }
        contents.streams.extend(streams);
    }
    loop {
        let after = contents.blobs.last().copied();
        let blobs = store.blobs(after.as_ref(), READ_NAMES)?;
        if blobs.is_empty() {
            return Ok(contents);
        }
        contents.blobs.extend(blobs.into_iter().map(|(id, _)| id));
    }
}

/// A job that was taken from an archive.
#[derive(Debug)]
pub struct Imported {
    /// The job.
    pub job: JobId,
    /// What the archive held.
    pub summary: Summary,
    /// Records that the job had before.
    pub known_record_count: u64,
}

/// Takes the one job that an archive holds, once all of it is proven: the file, the chain, that the records tell a job,
/// that the logs it names are there, and that a job of that name here has no other history.
///
/// With `validate_only` nothing is taken.
///
/// # Errors
/// [`Fault::Archive`] with nothing taken, or the store's fault.
pub fn import(shop: &Shop, file: &mut File, validate_only: bool) -> Result<Imported, Fault> {
    let store = &**shop.store();
    let _kept = shop.keep_blobs();
    let mut reading = Reading::default();
    let summary = compare(file, store, &mut |record| reading.accept(record))?;
    let id = reading.job(&summary, store)?;
    let known_record_count = store.head(&stream_of(&id))?.next_seq;
    if !validate_only {
        put(file, store)?;
        tracing::info!(job = %id, records = summary.record_count, known = known_record_count, "a job was imported");
    }
    Ok(Imported {
        job: id,
        summary,
        known_record_count,
    })
}

/// The one job of an archive, as its records come.
#[derive(Default)]
struct Reading {
    stream: Option<StreamName>,
    state: Option<JobState>,
}

impl Reading {
    fn accept(&mut self, record: &Record) -> Result<(), String> {
        let stream = self.stream.get_or_insert_with(|| record.stream.clone());
        if *stream != record.stream || job_of(stream).is_none() {
            return Err(
                "this is no archive of one job; restore a backup with `baytrimd ledger restore`"
                    .to_owned(),
            );
        }
        let decoded = codec::decode(&record.body).map_err(|error| error.to_string())?;
        match &mut self.state {
            Some(state) => state.take(&decoded),
            none => JobState::begin(&decoded).map(|state| {
                *none = Some(state);
            }),
        }
        .map_err(|error| error.to_string())
    }

    /// Returns the job, once all records were seen.
    fn job(&self, summary: &Summary, store: &dyn Store) -> Result<JobId, Fault> {
        let refused = |problem: String| {
            let stream = self.stream.as_ref().map(ToString::to_string);
            Fault::Archive(Box::new(RestoreError::Refused {
                stream: stream.unwrap_or_default(),
                seq: 0,
                problem,
            }))
        };
        let id = self.stream.as_ref().and_then(job_of);
        let (Some(state), Some(id)) = (&self.state, id) else {
            return Err(refused("the archive holds no job".to_owned()));
        };
        if *state.id() != id {
            return Err(refused(format!("its records tell the job {}", state.id())));
        }
        for pull in &state.pulls {
            let log = log_of(&pull.record.log_blob)?;
            if !summary.blobs.contains(&log) && store.open_blob(&log).is_err() {
                return Err(refused(format!(
                    "the log of {} is not in the archive",
                    pull.record.id
                )));
            }
        }
        Ok(id)
    }
}

fn log_of(text: &str) -> Result<BlobId, InternalFault> {
    text.parse().map_err(|_| {
        InternalFault::Impossible("a record names its log by something that is no hash")
    })
}
