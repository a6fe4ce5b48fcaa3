//! Table revisions and exports for scripts.

use baytrim_api::v1::{ExportTableResponse, Revision};
use serde::Serialize;

use super::proposal::some;
use crate::name::{job_of, number};
use crate::render::table_diff::change_percent;

/// A revision; axes, values and totals are empty in lists.
#[derive(Debug, Serialize)]
pub(crate) struct RevisionJson<'a> {
    job: &'a str,
    revision: &'a str,
    in_force: bool,
    origin: &'a str,
    create_time: Option<String>,
    creator: &'a str,
    reason: &'a str,
    content: &'a str,
    rpm: &'a [f64],
    plate_percent: &'a [f64],
    values: &'a [f64],
    total_percent: &'a [f64],
    grip_mode: Option<&'a str>,
    grip_percent: &'a [f64],
}

/// What changed between two revisions, in node order.
#[derive(Debug, Serialize)]
pub(crate) struct DiffJson<'a> {
    job: &'a str,
    from: &'a str,
    to: &'a str,
    content: &'a str,
    rpm: &'a [f64],
    plate_percent: &'a [f64],
    before: &'a [f64],
    after: &'a [f64],
    change_percent: Vec<f64>,
}

/// Revisions of a job.
#[derive(Debug, Serialize)]
pub(crate) struct RevisionsJson<'a> {
    job: String,
    revisions: Vec<RevisionJson<'a>>,
}

/// An export; its text only where it went to no file.
#[derive(Debug, Serialize)]
pub(crate) struct ExportJson<'a> {
    job: String,
    revision: &'a str,
    file_name: &'a str,
    media_type: &'a str,
    sha256: &'a str,
    output: Option<String>,
    text: Option<String>,
}

impl<'a> From<&'a Revision> for RevisionJson<'a> {
    fn from(revision: &'a Revision) -> Self {
        Self {
            job: job_of(&revision.name),
            revision: number(&revision.name),
            in_force: revision.in_force,
            origin: &revision.origin,
            create_time: revision.create_time.map(|time| time.to_string()),
            creator: &revision.creator,
            reason: &revision.reason,
            content: &revision.content,
            rpm: &revision.rpm,
            plate_percent: &revision.plate_percent,
            values: &revision.values,
            total_percent: &revision.total_percent,
            grip_mode: some(&revision.grip_mode),
            grip_percent: &revision.grip_percent,
        }
    }
}

impl<'a> DiffJson<'a> {
    /// Returns what changed from one revision to another.
    pub(crate) fn new(from: &'a Revision, to: &'a Revision) -> Self {
        Self {
            job: job_of(&to.name),
            from: number(&from.name),
            to: number(&to.name),
            content: &to.content,
            rpm: &to.rpm,
            plate_percent: &to.plate_percent,
            before: &from.values,
            after: &to.values,
            change_percent: change_percent(from, to),
        }
    }
}

impl<'a> RevisionsJson<'a> {
    /// Returns the revisions of `job`.
    pub(crate) fn new(job: String, revisions: &'a [Revision]) -> Self {
        Self {
            job,
            revisions: revisions.iter().map(RevisionJson::from).collect(),
        }
    }
}

impl<'a> ExportJson<'a> {
    /// Returns an export of `job` that went to `output`, or into `text`.
    pub(crate) fn new(
        job: String,
        export: &'a ExportTableResponse,
        output: Option<String>,
    ) -> Self {
        let text = match output {
            Some(_) => None,
            None => Some(String::from_utf8_lossy(&export.content).into_owned()),
        };
        Self {
            job,
            revision: number(&export.revision),
            file_name: &export.file_name,
            media_type: &export.media_type,
            sha256: &export.sha256,
            output,
            text,
        }
    }
}
