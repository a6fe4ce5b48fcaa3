//! Channel maps of bays as pages.

use baytrim_api::v1::{Bay, ChannelMap, MappedChannel};

use super::columns::{Edge, columns};
use super::style::{Ink, RenderOptions};
use super::text::{minute, moment, plain, wrap};
use crate::name::{number, short};

/// Returns what a channel map of `bay` takes from which column, without its text.
pub fn render_map(bay: &str, map: &ChannelMap, options: &RenderOptions) -> String {
    let title = match map.name.as_str() {
        "" => format!("Channel map for bay {bay}: only checked, not recorded"),
        name => {
            let force = if map.in_force { ", in force" } else { "" };
            format!("Channel map {} of bay {bay}{force}", number(name))
        }
    };
    let mut page = options.paint(Ink::Strong, &title) + "\n";
    if !map.name.is_empty() {
        let set = moment(map.create_time.map(|time| time.to_string()));
        let line = format!("Set {set} by {}", plain(&map.creator));
        page += &(options.paint(Ink::Quiet, &line) + "\n");
    }
    if !map.reason.is_empty() {
        let reason = format!("Reason: {}", plain(&map.reason));
        page += &wrap(&reason, options.width, 0);
    }
    page.push('\n');
    let row = |channel: &MappedChannel| {
        let column = match channel.column.as_str() {
            "" => "counted from rows".to_owned(),
            column => plain(column),
        };
        [plain(&channel.quantity), plain(&channel.unit), column]
    };
    let rows: Vec<_> = map.channels.iter().map(row).collect();
    let heads = [
        ("quantity", Edge::Left),
        ("unit", Edge::Left),
        ("column", Edge::Left),
    ];
    page + &columns(heads, &rows, options)
}

/// Returns the channel maps that `bay` has had, one a line.
pub fn render_maps(bay: &str, maps: &[ChannelMap], options: &RenderOptions) -> String {
    if maps.is_empty() {
        return format!(
            "Bay {bay} has no channel map of its own.\n\nNext\n  baytrim channels suggest LOG --output {bay}.toml\n  baytrim channels set {bay} {bay}.toml\n"
        );
    }
    let row = |map: &ChannelMap| {
        [
            number(&map.name).to_owned(),
            if map.in_force { "in force" } else { "" }.to_owned(),
            map.channels.len().saturating_sub(1).to_string(),
            minute(map.create_time.map(|time| time.to_string())),
            plain(&map.creator),
            plain(&map.reason),
        ]
    };
    let rows: Vec<_> = maps.iter().map(row).collect();
    let heads = [
        ("map", Edge::Left),
        ("", Edge::Left),
        ("quantities", Edge::Right),
        ("set (UTC)", Edge::Left),
        ("by", Edge::Left),
        ("reason", Edge::Left),
    ];
    columns(heads, &rows, options)
}

/// Returns the bays that the ledger has something of, one a line.
pub fn render_bays(bays: &[Bay], options: &RenderOptions) -> String {
    if bays.is_empty() {
        return "No bay has a channel map of its own yet.\n".to_owned();
    }
    let row = |bay: &Bay| {
        let map = match bay.channel_map.as_str() {
            "" => "-".to_owned(),
            name => number(name).to_owned(),
        };
        [short(&bay.name), map]
    };
    let rows: Vec<_> = bays.iter().map(row).collect();
    columns([("bay", Edge::Left), ("map", Edge::Left)], &rows, options)
}
