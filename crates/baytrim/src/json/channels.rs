//! Proposed channel maps for scripts.

use std::path::Path;

use baytrim_api::v1::{ChannelSuggestion, SuggestChannelsResponse};
use serde::Serialize;

/// A proposed channel map.
#[derive(Debug, Serialize)]
pub(crate) struct SuggestionJson<'a> {
    channel_map: &'a str,
    complete: bool,
    channels: Vec<ChannelJson<'a>>,
    missing: &'a [String],
    notes: &'a [String],
    refusal: Option<&'a str>,
    row_count: u64,
    unused_columns: &'a [String],
    output: Option<String>,
}

#[derive(Debug, Serialize)]
struct ChannelJson<'a> {
    quantity: &'a str,
    column: Option<&'a str>,
    unit: &'a str,
    certainty: f64,
    reason: &'a str,
    doubt: Option<&'a str>,
    rivals: &'a [String],
}

impl<'a> SuggestionJson<'a> {
    /// Returns `suggestion` for scripts; `output` is the file that its map was written into.
    pub(crate) fn new(suggestion: &'a SuggestChannelsResponse, output: Option<&Path>) -> Self {
        Self {
            channel_map: &suggestion.channel_map,
            complete: suggestion.complete,
            channels: suggestion.channels.iter().map(ChannelJson::new).collect(),
            missing: &suggestion.missing,
            notes: &suggestion.notes,
            refusal: text(&suggestion.refusal),
            row_count: suggestion.row_count,
            unused_columns: &suggestion.unused_columns,
            output: output.map(|path| path.display().to_string()),
        }
    }
}

impl<'a> ChannelJson<'a> {
    fn new(channel: &'a ChannelSuggestion) -> Self {
        Self {
            quantity: &channel.quantity,
            column: text(&channel.column),
            unit: &channel.unit,
            certainty: channel.certainty_fraction,
            reason: &channel.reason,
            doubt: text(&channel.doubt),
            rivals: &channel.rivals,
        }
    }
}

fn text(text: &str) -> Option<&str> {
    (!text.is_empty()).then_some(text)
}
