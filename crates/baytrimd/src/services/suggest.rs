//! A log comes in and a channel map for it goes out; nothing is recorded.

use std::sync::Arc;

use baytrim_api::v1::{ChannelSuggestion, SuggestChannelsRequest, SuggestChannelsResponse};
use baytrim_intake::suggest::{SuggestedChannel, SuggestedTime, Suggestion};
use baytrim_intake::{LogLimits, suggest};
use tonic::Streaming;

use super::chunks::{Chunks, keep};
use super::upload::source_name;
use crate::compute::Lane;
use crate::ending::Ending;
use crate::fault::Fault;
use crate::shop::Shop;

/// Takes a log and returns what may be made of its columns.
pub(super) async fn answer(
    shop: Arc<Shop>,
    ending: Ending,
    inbound: Streaming<SuggestChannelsRequest>,
) -> Result<SuggestChannelsResponse, Fault> {
    let mut chunks = Chunks {
        inbound,
        ending,
        idle: shop.limits().idle,
    };
    let name = source_name(&chunks.open().await?.source_name)?;
    let mut file = keep(&mut chunks, shop.limits().upload_bytes_max).await?;
    let work = move || Ok(suggest(&mut file, &name, &LogLimits::default())?);
    Ok(of_suggestion(shop.compute().run(Lane::Shop, work).await?))
}

fn of_suggestion(suggestion: Suggestion) -> SuggestChannelsResponse {
    let clock = suggestion.time.map(of_time);
    let channels = suggestion.channels.into_iter().map(of_channel);
    let missing = suggestion.missing.into_iter();
    SuggestChannelsResponse {
        channel_map: suggestion.toml,
        complete: suggestion.map.is_some(),
        channels: clock.into_iter().chain(channels).collect(),
        missing: missing.map(|missing| missing.sentence).collect(),
        notes: suggestion.notes,
        refusal: suggestion.refusal.unwrap_or_default(),
        row_count: suggestion.row_count as u64,
        unused_columns: suggestion.unused_columns,
    }
}

fn of_time(time: SuggestedTime) -> ChannelSuggestion {
    ChannelSuggestion {
        quantity: "time".to_owned(),
        column: time.time.column.unwrap_or_default(),
        unit: time.time.unit.as_str().to_owned(),
        certainty_fraction: time.confidence,
        reason: time.reason,
        ..ChannelSuggestion::default()
    }
}

fn of_channel(channel: SuggestedChannel) -> ChannelSuggestion {
    ChannelSuggestion {
        quantity: channel.quantity.as_str().to_owned(),
        column: channel.channel.column,
        unit: channel.channel.unit.as_str().to_owned(),
        certainty_fraction: channel.confidence,
        reason: channel.reason,
        doubt: channel.doubt.unwrap_or_default(),
        rivals: channel.rivals,
    }
}
