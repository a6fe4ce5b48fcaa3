//! What a log turned out to be.

use std::collections::BTreeMap;

use baytrim_model::channel::Quantity;
use baytrim_model::pull::PullWarning;
use baytrim_model::recording::{ChannelRecording, Recording};
use baytrim_model::samples::Samples;
use serde::Serialize;

/// A log that was read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Intake {
    /// The rows; the first has offset 0.
    pub samples: Samples,
    /// What the log turned out to be.
    pub report: IntakeReport,
}

/// What a log turned out to be.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IntakeReport {
    /// The kind of file.
    pub format: LogFormat,
    /// How it was packed.
    pub compression: Compression,
    /// How its letters are written; `None` for kinds that are not text.
    pub encoding: Option<TextEncoding>,
    /// What stands between columns; `None` for kinds that are not text.
    pub delimiter: Option<char>,
    /// What stands before decimals; `None` where no number of the log has any.
    pub decimal_mark: Option<char>,
    /// Row of the column names, as an editor counts; 0 in files without rows of text.
    pub header_row: u64,
    /// Row of the units beneath them, where there is one; its words are not used.
    pub unit_row: Option<u64>,
    /// Rows of samples.
    pub row_count: u64,
    /// Rows passed over below the header: empty ones, and those that begin with `#`.
    pub passed_over_count: u64,
    /// Row at the very end that was cut short and left out, where there is one.
    pub cut_row: Option<u64>,
    /// Bytes of the log after decompression.
    pub byte_count: u64,
    /// The columns in use.
    pub channels: BTreeMap<Quantity, ChannelReport>,
    /// The clock.
    pub clock: ClockReport,
    /// Columns that nothing was made of, in the order of the log.
    pub unused_columns: Vec<String>,
    /// What is odd, yet no reason to refuse the log.
    pub warnings: Vec<PullWarning>,
}

/// One column in use.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChannelReport {
    /// Its header.
    pub column: String,
    /// Rows without a reading.
    pub missing_count: u64,
    /// Smallest reading in the quantity's unit; `None` when there is no reading at all.
    pub low: Option<f64>,
    /// Median reading.
    pub median: Option<f64>,
    /// Largest reading.
    pub high: Option<f64>,
    /// Smallest difference between two readings that follow each other and differ.
    pub resolution: Option<f64>,
    /// Rows after which the reading changes, on average; 1 where it changes with each.
    pub hold_rows: Option<f64>,
    /// How it came onto the clock of the samples.
    pub alignment: Alignment,
}

impl IntakeReport {
    /// Returns how the log was recorded.
    pub fn recording(&self) -> Recording {
        let channels = self.channels.iter();
        let channels = channels.map(|(&quantity, report)| ChannelRecording {
            quantity,
            column: report.column.clone(),
            missing_count: report.missing_count,
            low: report.low,
            high: report.high,
            resolution: report.resolution,
            hold_rows: report.hold_rows,
        });
        Recording {
            rate_hz: self.clock.median_rate_hz,
            jitter_s: self.clock.jitter_s,
            gap_s_max: self.clock.gap_s_max,
            repeated_count: self.clock.repeated_count,
            channels: channels.collect(),
        }
    }
}

/// How a channel came onto the clock of the samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Alignment {
    /// It was logged on that clock.
    AsLogged,
    /// By a straight line between its own neighbouring readings.
    Linear,
    /// By its own last value.
    Held,
}

/// How evenly rows follow each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClockReport {
    /// Rows a second by the median interval; 0 for a single row.
    pub median_rate_hz: f64,
    /// Half the spread between the 5th and the 95th percentile of the intervals, seconds.
    pub jitter_s: f64,
    /// Longest interval, seconds.
    pub gap_s_max: f64,
    /// Sample (from 0) after which the longest interval lies.
    pub gap_sample: usize,
    /// Rows that repeated the time of the row above and were spread.
    pub repeated_count: u64,
    /// Rows of a bunch, on average, where several rows at a time were stamped when they arrived.
    pub bunch_rows: Option<f64>,
}

/// A kind of log file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LogFormat {
    /// Rows of text, cells set apart by a comma, a semicolon or a tab.
    DelimitedText,
    /// ASAM MDF 4.
    Mdf4,
    /// Apache Parquet; read where the feature `columnar` is on.
    Parquet,
    /// Arrow IPC, file or stream; read where the feature `columnar` is on.
    ArrowIpc,
}

/// How a file is packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Compression {
    /// Not at all.
    None,
    /// gzip, RFC 1952.
    Gzip,
    /// Zstandard, RFC 8878.
    Zstd,
}

/// How letters are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TextEncoding {
    /// UTF-8, with or without a byte order mark.
    Utf8,
    /// Windows-1252, of which Latin-1's letters are a part.
    Windows1252,
    /// UTF-16, low byte first.
    Utf16Le,
    /// UTF-16, high byte first.
    Utf16Be,
}
