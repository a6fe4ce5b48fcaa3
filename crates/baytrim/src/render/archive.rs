//! Archives: what was written, what was taken.

use baytrim_api::v1::{ArchiveSummary, ImportJobResponse};

use super::style::{Ink, RenderOptions};
use super::text::{counted, plain, wrap};
use crate::name::short;

/// Returns what an archive holds that was written into `file`.
pub fn render_archive(
    what: &str,
    file: &str,
    summary: &ArchiveSummary,
    options: &RenderOptions,
) -> String {
    let head = format!("{} is in {}.", plain(what), plain(file));
    let advice = if summary.stream_count == 1 {
        "Elsewhere, `baytrim job import` proves and takes it."
    } else {
        "`baytrimd ledger restore` makes a ledger of it, on another machine too. Unfinished live pulls and the \
         daemon's own keys are not in it."
    };
    format!(
        "{}\n{}Head {}\n{}",
        options.paint(Ink::Strong, &head),
        counts(summary, options),
        plain(&summary.head),
        wrap(advice, options.width, 0)
    )
}

/// Returns what was taken from an archive, or would be where it was only checked.
pub fn render_import(imported: &ImportJobResponse, check: bool, options: &RenderOptions) -> String {
    let summary = imported.summary.clone().unwrap_or_default();
    let job = plain(&short(&imported.job));
    let fresh = summary
        .record_count
        .saturating_sub(imported.known_record_count);
    let head = match (check, fresh) {
        (_, 0) => format!("{job} is here already, with all of it."),
        (true, _) => format!("{job} can be taken; nothing was."),
        (false, _) => format!("{job} is here now, records and seals as they were."),
    };
    let known = match imported.known_record_count {
        0 => String::new(),
        known => format!("{known} of the records were here before.\n"),
    };
    format!(
        "{}\n{}{known}",
        options.paint(Ink::Strong, &head),
        counts(&summary, options)
    )
}

fn counts(summary: &ArchiveSummary, options: &RenderOptions) -> String {
    let count =
        |count: u64, noun: &str| counted(usize::try_from(count).unwrap_or(usize::MAX), noun);
    let line = format!(
        "{}, {} in {}; {} bytes.",
        count(summary.record_count, "record"),
        count(summary.blob_count, "blob"),
        count(summary.stream_count, "stream"),
        summary.file_bytes
    );
    wrap(&line, options.width, 0)
}
