//! Why a log was refused.

mod lookup;
mod misreading;
mod no_header;

use std::io;

use baytrim_model::channel::{Quantity, Unit};
use baytrim_model::field::FieldError;

use crate::place::CellPlace;

pub use misreading::Misreading;
pub use no_header::NoHeader;

/// Why a log was refused. Rows count as an editor counts lines, from 1.
///
/// The message says where, what is wrong, and after the semicolon what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum IntakeError {
    /// The bytes could not be fetched.
    #[error("{source_name}: cannot be read; check the file and send it again")]
    Unreadable {
        /// The log.
        source_name: String,
        /// What the source said.
        source: io::Error,
    },
    /// There is not one byte, or nothing but blanks.
    #[error(
        "{source_name}: is empty; check that the logger was recording and export the log again"
    )]
    Empty {
        /// The log.
        source_name: String,
    },
    /// The bytes are not text.
    #[error(
        "{source_name}: is not text (byte {byte} is 0x{value:02x}); export the log as CSV and send that"
    )]
    NotText {
        /// The log.
        source_name: String,
        /// Where the first strange byte is, from 0, after decompression.
        byte: u64,
        /// The strange byte.
        value: u8,
    },
    /// The kind of file is known, and not read.
    #[error(
        "{source_name}: is {kind}, which is not read; export the log as CSV (in a spreadsheet: save as CSV or text) and send that"
    )]
    UnsupportedFormat {
        /// The log.
        source_name: String,
        /// What it is, with its article.
        kind: &'static str,
    },
    /// The packed file ends too early.
    #[error(
        "{source_name}: the packed file ends in the middle, after {byte_count} bytes of its content; copy it again, or send the log unpacked"
    )]
    Truncated {
        /// The log.
        source_name: String,
        /// Bytes that came out of it.
        byte_count: u64,
    },
    /// The packed file is damaged.
    #[error(
        "{source_name}: the packed file is damaged, after {byte_count} bytes of its content; copy it again, or send the log unpacked"
    )]
    Corrupt {
        /// The log.
        source_name: String,
        /// Bytes that came out of it.
        byte_count: u64,
        /// What the decompressor said.
        source: io::Error,
    },
    /// A file of measurements or of a table is damaged.
    #[error(
        "{source_name}: the {format} file is damaged or cut short; copy it again, or export the log once more"
    )]
    Damaged {
        /// The log.
        source_name: String,
        /// The kind of file.
        format: &'static str,
        /// What the reader said.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// The file is sound, and holds nothing that samples can be made of or is written in a way that is not read.
    #[error("{source_name}: {finding}; {remedy}")]
    Unsuited {
        /// The log.
        source_name: String,
        /// What it holds instead, or how it is written.
        finding: String,
        /// What to do.
        remedy: &'static str,
    },
    /// The log is larger than the limit.
    #[error(
        "{source_name}: is larger than {bytes_max} bytes when unpacked; cut it into several pulls, or leave out columns that are not used"
    )]
    TooManyBytes {
        /// The log.
        source_name: String,
        /// The limit.
        bytes_max: u64,
    },
    /// The log has more rows than the limit.
    #[error("{source_name}: has more than {rows_max} rows of samples; cut it into several pulls")]
    TooManyRows {
        /// The log.
        source_name: String,
        /// The limit.
        rows_max: usize,
    },
    /// The header has more columns than the limit.
    #[error(
        "{source_name}: row {row}: has {column_count} columns, more than {columns_max}; leave out columns that are not used"
    )]
    TooManyColumns {
        /// The log.
        source_name: String,
        /// The header's row.
        row: u64,
        /// Columns there.
        column_count: usize,
        /// The limit.
        columns_max: usize,
    },
    /// One row is longer than the limit.
    #[error(
        "{source_name}: row {row}: is longer than {row_bytes_max} bytes; look for a quotation mark that is never closed, and check that the file is a table of rows"
    )]
    RowTooLong {
        /// The log.
        source_name: String,
        /// Where the row begins.
        row: u64,
        /// The limit.
        row_bytes_max: usize,
    },
    /// No row of column names was found.
    #[error("{source_name}: row {row}: {}", finding.write(text))]
    HeaderMissing {
        /// The log.
        source_name: String,
        /// The first row.
        row: u64,
        /// How it begins.
        text: String,
        /// What is there instead.
        finding: NoHeader,
    },
    /// A column that the channel map names is not there.
    #[error(
        "{source_name}: {}there is no column \"{column}\" for {wanted_for}; the log has {}; correct the name in the channel map, or log that channel",
        in_row(*row),
        list(present)
    )]
    ColumnMissing {
        /// The log.
        source_name: String,
        /// The row taken for the header; 0 in files without rows of text.
        row: u64,
        /// The column wanted.
        column: String,
        /// The quantity it is wanted for, or `time`.
        wanted_for: String,
        /// The columns there, most similar name first.
        present: Vec<String>,
    },
    /// A column that the channel map names is there twice.
    #[error(
        "{source_name}: row {row}: the column \"{column}\" is there twice, as number {first} and number {second}; give one of them another name"
    )]
    ColumnTwice {
        /// The log.
        source_name: String,
        /// The header's row.
        row: u64,
        /// The column.
        column: String,
        /// Its first place, from 1.
        first: usize,
        /// Its second place, from 1.
        second: usize,
    },
    /// A row has too few or too many cells.
    #[error(
        "{source_name}: row {row}: has {} for {column_count} columns; {}",
        cells(*cell_count),
        width_remedy(*cell_count, *column_count)
    )]
    RowWidth {
        /// The log.
        source_name: String,
        /// The row.
        row: u64,
        /// Cells in it.
        cell_count: usize,
        /// Columns of the header.
        column_count: usize,
    },
    /// There is a header and nothing beneath it.
    #[error(
        "{source_name}: {}there is no row of samples beneath the header; check that the logger was recording and export the log again",
        in_row(*row)
    )]
    NoRows {
        /// The log.
        source_name: String,
        /// The header's row.
        row: u64,
    },
    /// Text stands where a number should.
    #[error("{place}: \"{text}\" is not a number; {remedy}")]
    NotANumber {
        /// The cell.
        place: CellPlace,
        /// What stands there.
        text: String,
        /// What to do.
        remedy: &'static str,
    },
    /// A number is infinite, or says that it is none.
    #[error(
        "{place}: \"{text}\" is not a finite number; fix the log, or list \"{text}\" under no_reading_text of the channel"
    )]
    NotFinite {
        /// The cell.
        place: CellPlace,
        /// What stands there.
        text: String,
    },
    /// A value that the quantity cannot have.
    #[error("{place}: {misreading}; {remedy}")]
    OutOfRange {
        /// The cell.
        place: CellPlace,
        /// What stands there and what was made of it.
        misreading: Box<Misreading>,
        /// The likely cause and what to do.
        remedy: String,
    },
    /// The column as a whole cannot be in the unit that the map states.
    #[error("{source_name}: column \"{column}\": {finding} when read as {unit}; {remedy}")]
    UnitDoubtful {
        /// The log.
        source_name: String,
        /// The column.
        column: String,
        /// The unit that the map states.
        unit: Unit,
        /// What the values are like.
        finding: String,
        /// The likely cause and what to do.
        remedy: String,
    },
    /// A channel that nothing can be learned without has no reading in the whole log.
    #[error(
        "{source_name}: column \"{column}\": holds no reading of {quantity} in {row_count} rows; check that the sensor was connected and logged, and what no_reading lists"
    )]
    ChannelEmpty {
        /// The log.
        source_name: String,
        /// The column.
        column: String,
        /// The quantity.
        quantity: Quantity,
        /// Rows looked at.
        row_count: u64,
    },
    /// A row does not say when it was.
    #[error("{place}: is empty, so that the row has no time; fix or delete the row")]
    TimeMissing {
        /// The cell.
        place: CellPlace,
    },
    /// The clock goes backwards.
    #[error(
        "{place}: the clock goes back from {before} to {value}; the log holds two recordings, or its rows are out of order: cut it there, or sort it"
    )]
    ClockBackwards {
        /// The cell.
        place: CellPlace,
        /// Time of the row, as logged.
        value: f64,
        /// Time of the row before, as logged.
        before: f64,
    },
    /// A time is there twice.
    #[error(
        "{place}: the time {value} is that of the row above; log time with more decimals, or write repeated = \"spread\" under [time] where the clock is coarser than the rows"
    )]
    TimeRepeated {
        /// The cell.
        place: CellPlace,
        /// Time of the row, as logged.
        value: f64,
    },
    /// The clock stands still.
    #[error(
        "{place}: the clock has stood at {value} for {row_count} rows; map a column that counts on, or write rate_hz in place of column under [time]"
    )]
    ClockStuck {
        /// The cell.
        place: CellPlace,
        /// Time of the row, as logged.
        value: f64,
        /// Rows with that time.
        row_count: u64,
    },
    /// The clock runs further than a log can.
    #[error(
        "{place}: {value} is {elapsed_s} s after the first row, more than {duration_s_max} s; {remedy}"
    )]
    ClockTooLong {
        /// The cell.
        place: CellPlace,
        /// Time of the row, as logged.
        value: f64,
        /// Seconds since the first row, by the map.
        elapsed_s: f64,
        /// The limit.
        duration_s_max: f64,
        /// The likely cause and what to do.
        remedy: &'static str,
    },
    /// The channel map or the fuel is at fault, whatever the log.
    #[error(
        "{source_name}: the channel map cannot be used: {}",
        sentences(problems)
    )]
    Map {
        /// The log.
        source_name: String,
        /// All that is wrong with it, at least one.
        problems: Vec<FieldError>,
    },
}

fn in_row(row: u64) -> String {
    match row {
        0 => String::new(),
        _ => format!("row {row}: "),
    }
}

/// Most column names in a message.
const LISTED_MAX: usize = 12;

fn list(names: &[String]) -> String {
    let shown: Vec<String> = names
        .iter()
        .take(LISTED_MAX)
        .map(|name| format!("\"{name}\""))
        .collect();
    match names.len().saturating_sub(LISTED_MAX) {
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

fn sentences(problems: &[FieldError]) -> String {
    let all: Vec<String> = problems.iter().map(ToString::to_string).collect();
    all.join(". ")
}

fn cells(count: usize) -> String {
    match count {
        1 => "1 cell".to_owned(),
        _ => format!("{count} cells"),
    }
}

fn width_remedy(cell_count: usize, column_count: usize) -> &'static str {
    if cell_count > column_count {
        "where decimals are written with a comma, set the columns apart with semicolons; else mend or delete the row"
    } else {
        "mend or delete the row"
    }
}
