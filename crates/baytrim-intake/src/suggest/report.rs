//! What is proposed for a log.

use baytrim_model::channel::{Channel, ChannelMap, EvidenceKind, Quantity, TimeChannel};
use serde::Serialize;

/// A channel map proposed for a log.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Suggestion {
    /// The map; none while something that every map needs is missing.
    pub map: Option<ChannelMap>,
    /// The map as a file, with confidence and reason as remarks. [`parse_channel_map`] accepts it
    /// where there is a map; else it lacks what is missing.
    ///
    /// [`parse_channel_map`]: crate::parse_channel_map
    pub toml: String,
    /// The clock.
    pub time: Option<SuggestedTime>,
    /// The channels, in the order of quantities.
    pub channels: Vec<SuggestedChannel>,
    /// What speaks of fuel need.
    pub evidence: EvidenceKind,
    /// What the log does not tell, needed or better known.
    pub missing: Vec<Missing>,
    /// What is remarkable about the log.
    pub notes: Vec<String>,
    /// Why the rows looked at would be refused under the map; none where they are read.
    pub refusal: Option<String>,
    /// Rows looked at.
    pub row_count: usize,
    /// Columns that nothing is made of, in the order of the log.
    pub unused_columns: Vec<String>,
}

/// The clock proposed for a log.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SuggestedTime {
    /// The time section.
    pub time: TimeChannel,
    /// How sure that is, 0 to 1.
    pub confidence: f64,
    /// Why.
    pub reason: String,
}

/// A channel proposed for a log.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SuggestedChannel {
    /// What it is.
    pub quantity: Quantity,
    /// The section.
    pub channel: Channel,
    /// How sure that is, 0 to 1.
    pub confidence: f64,
    /// Why.
    pub reason: String,
    /// What somebody who knows must still say.
    pub doubt: Option<String>,
    /// Other columns that might be it.
    pub rivals: Vec<String>,
}

/// Something that the log does not tell.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Missing {
    /// The quantity that it is about; none for the clock.
    pub quantity: Option<Quantity>,
    /// What is missing, and what to do.
    pub sentence: String,
}

impl Missing {
    /// Returns that `sentence` is missing of `quantity`.
    pub(super) fn of(quantity: Quantity, sentence: String) -> Self {
        Self {
            quantity: Some(quantity),
            sentence,
        }
    }
}
