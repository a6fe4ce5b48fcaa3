//! Channel maps of bays for scripts.

use std::path::Path;

use baytrim_api::v1::{Bay, ChannelMap, MappedChannel};
use serde::Serialize;

use crate::name::{number, short};

/// A channel map of a bay; its text is left out of lists.
#[derive(Debug, Serialize)]
pub(crate) struct MapJson<'a> {
    bay: &'a str,
    map: Option<&'a str>,
    in_force: bool,
    create_time: Option<String>,
    creator: &'a str,
    reason: &'a str,
    channels: Vec<ColumnJson<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    text: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    output: Option<String>,
}

#[derive(Debug, Serialize)]
struct ColumnJson<'a> {
    quantity: &'a str,
    column: Option<&'a str>,
    unit: &'a str,
}

/// The channel maps that a bay has had.
#[derive(Debug, Serialize)]
pub(crate) struct MapsJson<'a> {
    bay: &'a str,
    maps: Vec<MapJson<'a>>,
}

/// The bays.
#[derive(Debug, Serialize)]
pub(crate) struct BaysJson<'a> {
    bays: Vec<BayJson<'a>>,
}

#[derive(Debug, Serialize)]
struct BayJson<'a> {
    bay: String,
    map: Option<&'a str>,
}

impl<'a> MapJson<'a> {
    /// Returns a map of `bay` with its text; `output` is the file that it was written into.
    pub(crate) fn new(bay: &'a str, map: &'a ChannelMap, output: Option<&Path>) -> Self {
        Self {
            text: Some(&map.text),
            output: output.map(|path| path.display().to_string()),
            ..Self::without_text(bay, map)
        }
    }

    fn without_text(bay: &'a str, map: &'a ChannelMap) -> Self {
        Self {
            bay,
            map: (!map.name.is_empty()).then(|| number(&map.name)),
            in_force: map.in_force,
            create_time: map.create_time.map(|time| time.to_string()),
            creator: &map.creator,
            reason: &map.reason,
            channels: map.channels.iter().map(column).collect(),
            text: None,
            output: None,
        }
    }
}

impl<'a> MapsJson<'a> {
    /// Returns the maps that `bay` has had.
    pub(crate) fn new(bay: &'a str, maps: &'a [ChannelMap]) -> Self {
        let maps = maps.iter().map(|map| MapJson::without_text(bay, map));
        Self {
            bay,
            maps: maps.collect(),
        }
    }
}

impl<'a> From<&'a [Bay]> for BaysJson<'a> {
    fn from(bays: &'a [Bay]) -> Self {
        let bays = bays.iter().map(|bay| BayJson {
            bay: short(&bay.name),
            map: (!bay.channel_map.is_empty()).then(|| number(&bay.channel_map)),
        });
        Self {
            bays: bays.collect(),
        }
    }
}

fn column(channel: &MappedChannel) -> ColumnJson<'_> {
    ColumnJson {
        quantity: &channel.quantity,
        column: (!channel.column.is_empty()).then_some(channel.column.as_str()),
        unit: &channel.unit,
    }
}
