//! The ledger for scripts.

use baytrim_api::v1::{Record, VerifyLedgerResponse};
use serde::Serialize;

/// Records of a job.
#[derive(Debug, Serialize)]
pub(crate) struct RecordsJson<'a> {
    job: String,
    records: Vec<RecordJson<'a>>,
}

/// One record.
#[derive(Debug, Serialize)]
pub(crate) struct RecordJson<'a> {
    sequence_number: u64,
    hash: &'a str,
    previous_hash: &'a str,
    create_time: Option<String>,
    actor: &'a str,
    kind: &'a str,
    summary: &'a str,
}

/// What a check of the ledger found.
#[derive(Debug, Serialize)]
pub(crate) struct CheckJson<'a> {
    intact: bool,
    stream_count: u64,
    record_count: u64,
    blob_count: u64,
    checkpoint_count: u64,
    first_fault: Option<&'a str>,
    ledger_head: &'a str,
}

impl<'a> RecordsJson<'a> {
    /// Returns the records of `job`.
    pub(crate) fn new(job: String, records: &'a [Record]) -> Self {
        Self {
            job,
            records: records.iter().map(RecordJson::from).collect(),
        }
    }
}

impl<'a> From<&'a Record> for RecordJson<'a> {
    fn from(record: &'a Record) -> Self {
        Self {
            sequence_number: record.sequence_number,
            hash: &record.hash,
            previous_hash: &record.previous_hash,
            create_time: record.create_time.map(|time| time.to_string()),
            actor: &record.actor,
            kind: &record.kind,
            summary: &record.summary,
        }
    }
}

impl<'a> From<&'a VerifyLedgerResponse> for CheckJson<'a> {
    fn from(check: &'a VerifyLedgerResponse) -> Self {
        Self {
            intact: check.intact,
            stream_count: check.stream_count,
            record_count: check.record_count,
            blob_count: check.blob_count,
            checkpoint_count: check.checkpoint_count,
            first_fault: Some(check.first_fault.as_str()).filter(|fault| !fault.is_empty()),
            ledger_head: &check.ledger_head,
        }
    }
}
