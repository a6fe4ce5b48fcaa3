//! How a log was recorded: its clock, and the grain of its channels.

use serde::{Deserialize, Serialize};

use crate::channel::Quantity;

/// How a log was recorded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Recording {
    /// Rows a second by the median interval; 0 for a single row.
    pub rate_hz: f64,
    /// Half the spread between the 5th and the 95th percentile of the intervals, seconds.
    pub jitter_s: f64,
    /// Longest interval between two rows, seconds.
    pub gap_s_max: f64,
    /// Rows that shared the time of the row above and were spread.
    pub repeated_count: u64,
    /// Its channels, in the order of their quantities.
    pub channels: Vec<ChannelRecording>,
}

/// How one channel was recorded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChannelRecording {
    /// The quantity.
    pub quantity: Quantity,
    /// Header of its column.
    pub column: String,
    /// Rows without a reading.
    pub missing_count: u64,
    /// Smallest reading, in the quantity's unit; none where there is no reading.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low: Option<f64>,
    /// Largest reading.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high: Option<f64>,
    /// Smallest step between readings that follow each other and differ; none where none differ.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resolution: Option<f64>,
    /// Rows that one reading lasts, on average; 1 where it changes with each.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold_rows: Option<f64>,
}
