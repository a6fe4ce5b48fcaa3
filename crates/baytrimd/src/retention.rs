//! What is removed by the shop's own rule, and where that is written down: raw logs that are old enough, live pulls
//! that nobody finished, and what no record names. Records are never removed.
//!
//! Before anything is removed, a record in the stream `retention` names it, so that a reader of the ledger can tell what
//! was removed by rule from what is missing.

mod rounds;
mod sweep;
mod vouched;

use std::collections::BTreeMap;
use std::time::Duration;

use baytrim_ledger::{BlobError, BlobId, BlobReader, Store, StreamName};
use baytrim_model::ids::{JobId, UnixMillis};
use baytrim_model::pull::PullRecord;
use serde::{Deserialize, Serialize};

use crate::fault::{Fault, InternalFault};
use crate::limits::RETENTION_EVERY;

pub(crate) use rounds::every;
pub use sweep::{Sweeper, Swept};
pub use vouched::Vouched;

/// The stream that says what was removed.
pub const RETENTION_STREAM: &str = "retention";
const DAY_MS: i64 = 86_400_000;
/// Version of its records.
const VERSION: u8 = 1;
/// Records that are read at a time.
const READ_RECORDS: usize = 256;

/// How long things are kept; none: for ever.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rules {
    /// Days that a raw log is kept after the last pull that it was recorded as.
    pub raw_logs_days: Option<u64>,
    /// Days that a live pull is kept that nobody finishes; with it, what no record names goes too.
    pub unfinished_days: Option<u64>,
    /// Time between two rounds.
    pub every: Duration,
}

impl Rules {
    /// Keeps everything for ever.
    pub const NONE: Self = Self {
        raw_logs_days: None,
        unfinished_days: None,
        every: RETENTION_EVERY,
    };

    /// Returns whether anything is ever removed.
    pub fn are_any(&self) -> bool {
        self.raw_logs_days.is_some() || self.unfinished_days.is_some()
    }
}

/// A record: what is about to be removed; nothing where it only tells how far time has come.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Removal {
    version: u8,
    at: UnixMillis,
    /// Raw logs that pulls name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    logs: Vec<RemovedLog>,
    /// Blobs that no record names.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    unnamed: Vec<RemovedBlob>,
    /// Live pulls that nobody finished.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    live_pulls: Vec<String>,
}

impl Removal {
    /// Tells how far time has come, and removes nothing.
    fn nothing(at: UnixMillis) -> Self {
        Self {
            version: VERSION,
            at,
            logs: Vec::new(),
            unnamed: Vec::new(),
            live_pulls: Vec::new(),
        }
    }
}

/// A raw log that is about to be removed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct RemovedLog {
    sha256: String,
    bytes: u64,
    /// The pulls that it was recorded as.
    pulls: Vec<String>,
}

/// A blob that is about to be removed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct RemovedBlob {
    sha256: String,
    bytes: u64,
}

fn stream() -> StreamName {
    StreamName::new(RETENTION_STREAM).expect("a good name")
}

/// Returns all raw logs that were removed by rule, and when; some may be there again, sent anew.
///
/// # Errors
/// The store's fault; a record that can't be read is a fault of the ledger.
pub fn removed_logs(store: &dyn Store) -> Result<BTreeMap<BlobId, UnixMillis>, InternalFault> {
    let (stream, mut found, mut from) = (stream(), BTreeMap::new(), 0);
    loop {
        let records = store.read(&stream, from, READ_RECORDS)?;
        let Some(last) = records.last() else {
            return Ok(found);
        };
        from = last.seq + 1;
        for record in &records {
            let removal: Removal =
                serde_json::from_slice(&record.body).map_err(|error| InternalFault::Decode {
                    what: format!("record {} of {stream}", record.seq),
                    source: error.into(),
                })?;
            let ids = removal
                .logs
                .iter()
                .filter_map(|log| log.sha256.parse().ok());
            found.extend(ids.map(|id: BlobId| (id, removal.at)));
        }
    }
}

/// Returns the moment that the last record of the stream tells; none where there is none.
fn last_told(store: &dyn Store) -> Result<Option<UnixMillis>, Fault> {
    let head = store.head(&stream())?;
    let Some(last) = head.next_seq.checked_sub(1) else {
        return Ok(None);
    };
    let told = store.read(&stream(), last, 1)?;
    let told = told
        .first()
        .map(|record| serde_json::from_slice::<Removal>(&record.body));
    let told = told.transpose().map_err(|error| InternalFault::Decode {
        what: format!("record {last} of {RETENTION_STREAM}"),
        source: error.into(),
    })?;
    Ok(told.map(|removal| removal.at))
}

/// Opens the raw log of a pull.
///
/// # Errors
/// [`Fault::LogRemoved`] where it was removed by rule, else the store's fault.
pub(crate) fn open_log(
    store: &dyn Store,
    job: &JobId,
    pull: &PullRecord,
) -> Result<BlobReader, Fault> {
    let log: BlobId = pull.log_blob.parse().map_err(|_| {
        InternalFault::Impossible("a record names its log by something that is no hash")
    })?;
    match store.open_blob(&log) {
        Ok(reader) => Ok(reader),
        Err(BlobError::Missing { .. }) => match removed_logs(store)?.get(&log) {
            Some(&at) => Err(Fault::LogRemoved {
                job: job.clone(),
                pull: pull.id,
                at,
            }),
            None => Err(InternalFault::Blob(BlobError::Missing { id: log }).into()),
        },
        Err(other) => Err(InternalFault::from(other).into()),
    }
}

/// Appends what is about to be removed.
fn note(store: &dyn Store, removal: &Removal) -> Result<(), Fault> {
    let body = serde_json::to_vec(removal)
        .map_err(|_| InternalFault::Impossible("what is removed is plain JSON"))?;
    let head = store.head(&stream())?;
    store.append(&stream(), &head, &[body])?;
    Ok(())
}
