//! Proposes a channel map for a log.

mod behaviour;
mod fit;
mod names;
mod notes;
mod pick;
mod report;
pub(crate) mod table;
mod time;
mod trial;
mod unit_text;
mod write;

use std::io::Read;

use baytrim_model::channel::{ChannelMap, EvidenceKind, Quantity};

use crate::error::IntakeError;
use crate::limits::LogLimits;
use crate::read::open_table;
use pick::{Known, pick};
pub use report::{Missing, SuggestedChannel, SuggestedTime, Suggestion};
use table::RawTable;
use time::pick_time;

/// Proposes a channel map for a log from its names, its units and what its numbers do; each part
/// with how sure it is and why.
///
/// At most four million cells from the top of the log are looked at. `source_name` is what messages
/// call the log.
///
/// # Errors
/// When the log cannot be read as a table of named columns at all.
pub fn suggest(
    source: &mut dyn Read,
    source_name: &str,
    limits: &LogLimits,
) -> Result<Suggestion, IntakeError> {
    let table = open_table(source, source_name, limits)?;
    Ok(suggest_for(&table, source_name, limits))
}

fn suggest_for(table: &RawTable, source_name: &str, limits: &LogLimits) -> Suggestion {
    let columns: Vec<Known<'_>> = table.columns.iter().map(Known::new).collect();
    let picked_time = pick_time(&columns);
    let (mut channels, mut missing) = pick(&columns, picked_time.as_ref().map(|time| time.place));
    let has = |quantity| channels.iter().any(|channel| channel.quantity == quantity);
    let evidence = evidence(&has, &channels, &columns);
    let mut notes = notes::refine(&mut channels, &columns, evidence);
    for quantity in [
        Quantity::EngineSpeed,
        Quantity::PlateAngle,
        Quantity::Lambda,
    ] {
        let is_needed = quantity != Quantity::Lambda || evidence != EvidenceKind::Trims;
        let is_there = channels.iter().any(|channel| channel.quantity == quantity);
        let is_told = missing
            .iter()
            .any(|missing| missing.quantity == Some(quantity));
        if is_needed && !is_there && !is_told {
            missing.push(Missing::of(
                quantity,
                format!("no column looks like {quantity}; log it, or name the column yourself"),
            ));
        }
    }
    if picked_time.is_none() {
        missing.push(Missing {
            quantity: None,
            sentence:
                "no column counts on as a clock does; write rate_hz = ROWS_A_SECOND under [time]"
                    .to_owned(),
        });
    }
    notes.extend(picked_time.as_ref().and_then(|picked| picked.note.clone()));
    notes.extend(notes::held(&columns, &channels));
    if table.is_cut {
        notes.push(format!(
            "the first {} rows were looked at",
            table.rows.len()
        ));
    }
    let time = picked_time.map(|picked| picked.suggested);
    let tried = try_out(time.as_ref(), &mut channels, evidence, &mut notes, |map| {
        trial::read(table, map, source_name, limits)
    });
    let (map, refusal) = tried.map_or((None, None), |(map, refusal)| (Some(map), refusal));
    let clock = time.as_ref().and_then(|time| time.time.column.as_deref());
    let used = channels.iter().map(|one| one.channel.column.as_str());
    let used: Vec<&str> = used.chain(clock).collect();
    let names = table
        .columns
        .iter()
        .map(|column| column.name.trim().to_owned());
    let unused_columns = names
        .filter(|name| !used.contains(&name.as_str()))
        .collect();
    Suggestion {
        toml: write::write_toml(source_name, evidence, time.as_ref(), &channels, &missing),
        refusal,
        map,
        time,
        channels,
        evidence,
        missing,
        notes,
        row_count: table.rows.len(),
        unused_columns,
    }
}

/// Returns the map, where it is complete, and why the rows would be refused under it. A channel that
/// can be spared is left out where its readings are what would be refused.
fn try_out(
    time: Option<&SuggestedTime>,
    channels: &mut Vec<SuggestedChannel>,
    evidence: EvidenceKind,
    notes: &mut Vec<String>,
    read: impl Fn(&ChannelMap) -> Result<(), IntakeError>,
) -> Option<(ChannelMap, Option<String>)> {
    let time = time?;
    loop {
        let map = ChannelMap {
            time: time.time.clone(),
            channels: channels
                .iter()
                .map(|one| (one.quantity, one.channel.clone()))
                .collect(),
            evidence,
        };
        if !map.problems("").is_empty() {
            return None;
        }
        let Err(error) = read(&map) else {
            return Some((map, None));
        };
        let at_fault = channels.iter().position(|one| {
            one.channel.optional
                && error
                    .field()
                    .ends_with(&format!("column \"{}\"", one.channel.column))
        });
        let Some(place) = at_fault else {
            return Some((map, Some(error.to_string())));
        };
        let left_out = channels.remove(place);
        notes.push(format!(
            "{} is left out, though its name fits: {error}",
            left_out.quantity
        ));
    }
}

/// Trims that move speak of fuel need; alone where there is no lambda.
fn evidence(
    has: &dyn Fn(Quantity) -> bool,
    channels: &[SuggestedChannel],
    columns: &[Known<'_>],
) -> EvidenceKind {
    let moves = |quantity| {
        let channel = channels.iter().find(|channel| channel.quantity == quantity);
        channel.is_some_and(|channel| {
            let known = columns
                .iter()
                .find(|known| known.column.name.trim() == channel.channel.column);
            known
                .and_then(|known| known.behaviour.as_ref())
                .is_some_and(|does| !does.is_constant())
        })
    };
    let has_trims = moves(Quantity::ShortTermTrim) || moves(Quantity::LongTermTrim);
    match (has(Quantity::Lambda), has_trims) {
        (true, true) => EvidenceKind::LambdaAndTrims,
        (false, true) => EvidenceKind::Trims,
        (_, false) => EvidenceKind::Lambda,
    }
}
