//! A proposed channel map as a page.

use std::path::Path;

use baytrim_api::v1::{ChannelSuggestion, SuggestChannelsResponse};

use super::number::fixed;
use super::style::{Ink, RenderOptions};
use super::text::{counted, hang, plain, wrap};

/// Returns a proposed channel map as a tuner reads it: what was made of each column and why, then the
/// map itself, unless it was written into `output`.
pub fn render_suggestion(
    suggestion: &SuggestChannelsResponse,
    output: Option<&Path>,
    options: &RenderOptions,
) -> String {
    let mut page = format!("{}\n\n", options.paint(Ink::Strong, &headline(suggestion)));
    for channel in &suggestion.channels {
        page += &channel_lines(channel, options);
    }
    let width = options.width;
    let is_told = |missing: &&String| {
        let mut channels = suggestion.channels.iter();
        channels.any(|channel| channel.doubt == **missing)
    };
    for missing in suggestion.missing.iter().filter(|one| !is_told(one)) {
        page += &hang(&format!("! {}", plain(missing)), width, 2, 4);
    }
    for note in &suggestion.notes {
        page += &hang(&format!("- {}", plain(note)), width, 2, 4);
    }
    if !suggestion.refusal.is_empty() {
        let sentence = format!(
            "! it would be refused as it is: {}",
            plain(&suggestion.refusal)
        );
        page += &hang(&sentence, width, 2, 4);
    }
    if !suggestion.unused_columns.is_empty() {
        let names: Vec<String> = suggestion
            .unused_columns
            .iter()
            .map(|name| plain(name))
            .collect();
        page += &hang(
            &format!("Nothing is made of: {}", names.join(", ")),
            width,
            2,
            4,
        );
    }
    page.push('\n');
    match output {
        Some(path) => {
            page += &wrap(
                &format!("Written to {}; read it before you use it.", path.display()),
                width,
                0,
            );
        }
        None => page += &suggestion.channel_map,
    }
    page
}

fn headline(suggestion: &SuggestChannelsResponse) -> String {
    let rows = usize::try_from(suggestion.row_count).unwrap_or(usize::MAX);
    let rows = counted(rows, "row");
    if suggestion.complete {
        format!("A channel map, from {rows}")
    } else {
        format!("A channel map that is not whole yet, from {rows}")
    }
}

fn channel_lines(channel: &ChannelSuggestion, options: &RenderOptions) -> String {
    let column = match channel.column.as_str() {
        "" => "counted from rows".to_owned(),
        column => format!("\"{}\"", plain(column)),
    };
    let unit = plain(&channel.unit);
    let certainty = fixed(channel.certainty_fraction * 100.0, 0);
    let head = format!(
        "{}: {column} in {unit}, {certainty} % sure",
        plain(&channel.quantity)
    );
    let mut lines = hang(&head, options.width, 2, 4);
    lines += &wrap(&plain(&channel.reason), options.width, 4);
    if !channel.doubt.is_empty() {
        lines += &hang(&format!("! {}", plain(&channel.doubt)), options.width, 4, 6);
    }
    if !channel.rivals.is_empty() {
        let rivals: Vec<String> = channel.rivals.iter().map(|name| plain(name)).collect();
        lines += &wrap(&format!("or {}", rivals.join(", ")), options.width, 4);
    }
    lines
}
