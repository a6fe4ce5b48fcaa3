//! The ledger: its records, one a line, and whether it holds.

use std::path::Path;

use baytrim_api::v1::{Record, VerifyLedgerResponse};

use super::columns::{Edge, columns};
use super::style::{Ink, RenderOptions};
use super::text::{counted, minute, plain, wrap};

/// Digits of a seal that are enough to tell records of a job apart by eye.
const HASH_DIGITS: usize = 12;

/// Returns the records of a job, one a line, oldest first.
pub fn render_records(records: &[Record], options: &RenderOptions) -> String {
    let row = |record: &Record| {
        [
            record.sequence_number.to_string(),
            minute(record.create_time.map(|time| time.to_string())),
            plain(&record.actor),
            plain(&record.hash).chars().take(HASH_DIGITS).collect(),
            plain(&record.summary),
        ]
    };
    let rows: Vec<_> = records.iter().map(row).collect();
    let heads = [
        ("#", Edge::Right),
        ("when (UTC)", Edge::Left),
        ("who", Edge::Left),
        ("seal", Edge::Left),
        ("what", Edge::Left),
    ];
    columns(heads, &rows, options)
}

/// Returns the line of one record as it comes.
pub(crate) fn render_record(record: &Record) -> String {
    format!(
        "{:>6}  {}  {}  {}\n",
        record.sequence_number,
        minute(record.create_time.map(|time| time.to_string())),
        plain(&record.actor),
        plain(&record.summary),
    )
}

/// Returns what a check of the whole ledger found.
pub fn render_check(check: &VerifyLedgerResponse, options: &RenderOptions) -> String {
    let number =
        |count: u64, noun: &str| counted(usize::try_from(count).unwrap_or(usize::MAX), noun);
    let mut counts = format!(
        "Checked: {} in {}, {}",
        number(check.record_count, "record"),
        number(check.stream_count, "stream"),
        number(check.blob_count, "blob"),
    );
    if check.checkpoint_count > 0 {
        counts += ", ";
        counts += &number(check.checkpoint_count, "signed checkpoint");
    }
    counts.push('.');
    if check.intact {
        let head = options.paint(Ink::Strong, "The ledger is intact.");
        let advice = "Write the head down elsewhere: it proves later that nothing was dropped.";
        let page = format!("{head}\n{}", wrap(&counts, options.width, 0));
        page + &format!("Head {}\n", plain(&check.ledger_head)) + &wrap(advice, options.width, 0)
    } else {
        let head = options.paint(Ink::Alert, "The ledger is NOT intact.");
        let fault = wrap(
            &format!("First fault: {}", plain(&check.first_fault)),
            options.width,
            0,
        );
        format!("{head}\n{fault}{}", wrap(&counts, options.width, 0))
    }
}

/// Returns that the ledger holds what a checkpoint signed that was kept elsewhere.
pub(crate) fn render_held(file: &Path, options: &RenderOptions) -> String {
    let file = plain(&file.display().to_string());
    wrap(
        &format!("It holds all that the checkpoint in {file} signed."),
        options.width,
        0,
    )
}
