//! Archives for scripts.

use baytrim_api::v1::{ArchiveSummary, ImportJobResponse};
use serde::Serialize;

use crate::name::short;

/// An archive that was written.
#[derive(Debug, Serialize)]
pub(crate) struct ArchiveJson<'a> {
    what: &'a str,
    file: &'a str,
    #[serde(flatten)]
    summary: SummaryJson,
}

/// A job that was taken from an archive.
#[derive(Debug, Serialize)]
pub(crate) struct ImportJson {
    job: String,
    recorded: bool,
    known_record_count: u64,
    #[serde(flatten)]
    summary: SummaryJson,
}

#[derive(Debug, Serialize)]
struct SummaryJson {
    stream_count: u64,
    record_count: u64,
    blob_count: u64,
    file_bytes: u64,
    sha256: String,
    head: String,
}

impl<'a> ArchiveJson<'a> {
    /// Returns the archive `file` of `what`.
    pub(crate) fn new(what: &'a str, file: &'a str, summary: &ArchiveSummary) -> Self {
        let summary = SummaryJson::from(summary);
        Self {
            what,
            file,
            summary,
        }
    }
}

impl ImportJson {
    /// Returns the job that was taken, or that would be where it was only checked.
    pub(crate) fn new(imported: &ImportJobResponse, check: bool) -> Self {
        Self {
            job: short(&imported.job),
            recorded: !check,
            known_record_count: imported.known_record_count,
            summary: SummaryJson::from(&imported.summary.clone().unwrap_or_default()),
        }
    }
}

impl From<&ArchiveSummary> for SummaryJson {
    fn from(summary: &ArchiveSummary) -> Self {
        Self {
            stream_count: summary.stream_count,
            record_count: summary.record_count,
            blob_count: summary.blob_count,
            file_bytes: summary.file_bytes,
            sha256: summary.sha256.clone(),
            head: summary.head.clone(),
        }
    }
}
