//! Checks what a Parquet table claims before its library takes it at its word.
//!
//! Layout by the Apache Parquet format: columns are pages, each with a head; a description, its length and
//! `PAR1` end the file.

use parquet::file::metadata::{ColumnChunkMetaData, ParquetMetaData};

use super::TableFault;
use super::shapes::{FILE, PAGE};
use super::thrift::Walk;
use crate::limits::LogLimits;

/// Most bytes of the description. 16 MiB: 2000 columns in 50 parts take some 160 bytes each.
const DESCRIPTION_BYTES_MAX: usize = 16 * 1024 * 1024;

/// Checks that the description of `file` can be read in as many steps as it has bytes, about.
pub(super) fn check_description(file: &[u8]) -> Result<(), TableFault> {
    let body = file.strip_suffix(b"PAR1");
    let description = body.and_then(|body| {
        let (rest, length) = body.split_last_chunk::<4>()?;
        let length = usize::try_from(u32::from_le_bytes(*length)).ok()?;
        rest.get(rest.len().checked_sub(length)?..)
    });
    let description = description.ok_or(TableFault::Damaged("the end of the file is missing"))?;
    if description.len() > DESCRIPTION_BYTES_MAX {
        return Err(TableFault::Damaged("a description of impossible length"));
    }
    let walked = Walk::new(description).structure(FILE, &mut |_, _| {});
    walked.ok_or(TableFault::Damaged("a description that is none"))
}

/// Checks the pages of each column for which `is_used` says so: that they lie inside the file and beside each
/// other, hold no more values than there are rows, and unpack to no more than a log may hold.
pub(super) fn check_pages(
    file: &[u8],
    metadata: &ParquetMetaData,
    is_used: impl Fn(usize) -> bool,
    limits: &LogLimits,
) -> Result<(), TableFault> {
    let mut row_count = 0_u64;
    let mut sums = Sums::default();
    for group in metadata.row_groups() {
        let rows = u64::try_from(group.num_rows())
            .map_err(|_| TableFault::Damaged("rows of negative count"))?;
        row_count = row_count.saturating_add(rows);
        if row_count > limits.rows_max as u64 {
            return Err(TableFault::TooManyRows);
        }
        let columns = group.columns().iter().enumerate();
        for (_, column) in columns.filter(|(leaf, _)| is_used(*leaf)) {
            check_column(file, column, rows, &mut sums)?;
            if sums.unpacked > limits.bytes_max {
                return Err(TableFault::TooManyBytes);
            }
        }
    }
    Ok(())
}

/// Bytes of all columns so far.
#[derive(Default)]
struct Sums {
    packed: u64,
    unpacked: u64,
}

fn check_column(
    file: &[u8],
    column: &ColumnChunkMetaData,
    row_count: u64,
    sums: &mut Sums,
) -> Result<(), TableFault> {
    let (start, length) = column.byte_range();
    let end = start.saturating_add(length);
    let range = usize::try_from(start).ok().zip(usize::try_from(end).ok());
    let Some(mut rest) = range.and_then(|(start, end)| file.get(start..end)) else {
        return Err(TableFault::Damaged("a column outside the file"));
    };
    // What is named again and again would be unpacked again and again.
    sums.packed = sums.packed.saturating_add(length);
    if sums.packed > file.len() as u64 {
        return Err(TableFault::Damaged("columns on top of each other"));
    }
    let mut value_count = 0_u64;
    // Like the library, nothing is looked at behind the last value.
    while value_count < row_count && !rest.is_empty() {
        let page = Page::read(rest).ok_or(TableFault::Damaged("a page's head that is none"))?;
        value_count = value_count.saturating_add(page.value_count);
        // Only flat columns are used: one value a row.
        if value_count > row_count || page.entry_count > page.unpacked {
            return Err(TableFault::Damaged("a page of impossible length"));
        }
        sums.unpacked = sums.unpacked.saturating_add(page.unpacked);
        rest = page.rest;
    }
    Ok(())
}

/// A page by its head.
struct Page<'a> {
    unpacked: u64,
    /// Values, of a page of values.
    value_count: u64,
    /// Entries, of a dictionary; each takes a byte at least.
    entry_count: u64,
    /// What follows it.
    rest: &'a [u8],
}

impl<'a> Page<'a> {
    fn read(bytes: &'a [u8]) -> Option<Self> {
        let (mut unpacked, mut packed) = (None, None);
        let (mut value_count, mut entry_count) = (0, 0);
        let mut walk = Walk::new(bytes);
        walk.structure(PAGE, &mut |path, value| match path {
            [2] => unpacked = Some(value),
            [3] => packed = Some(value),
            [5 | 8, 1] => value_count = value,
            [7, 1] => entry_count = value,
            _ => {}
        })?;
        Some(Self {
            unpacked: u64::try_from(unpacked?).ok()?,
            value_count: u64::try_from(value_count).ok()?,
            entry_count: u64::try_from(entry_count).ok()?,
            rest: walk.rest().get(usize::try_from(packed?).ok()?..)?,
        })
    }
}
