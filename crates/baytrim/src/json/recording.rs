//! How a log was recorded, for scripts.

use baytrim_api::v1::Recording;
use serde::Serialize;

/// How a log was recorded.
#[derive(Debug, Serialize)]
pub(crate) struct RecordingJson<'a> {
    rows_per_s: f64,
    jitter_s: f64,
    longest_gap_s: f64,
    repeated_count: u64,
    channels: Vec<ChannelJson<'a>>,
}

#[derive(Debug, Serialize)]
struct ChannelJson<'a> {
    quantity: &'a str,
    column: &'a str,
    missing_count: u64,
    low: Option<f64>,
    high: Option<f64>,
    step: Option<f64>,
    hold_rows: Option<f64>,
}

impl<'a> From<&'a Recording> for RecordingJson<'a> {
    fn from(recording: &'a Recording) -> Self {
        let channels = recording.channels.iter().map(|channel| ChannelJson {
            quantity: &channel.quantity,
            column: &channel.column,
            missing_count: channel.missing_count,
            low: channel.reading_low,
            high: channel.reading_high,
            step: channel.resolution,
            hold_rows: channel.hold_row_factor,
        });
        Self {
            rows_per_s: recording.rows_per_s,
            jitter_s: recording.jitter_s,
            longest_gap_s: recording.longest_gap_s,
            repeated_count: recording.repeated_count,
            channels: channels.collect(),
        }
    }
}
