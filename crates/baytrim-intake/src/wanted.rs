//! The columns that a channel map wants of a log.

use baytrim_model::channel::{ChannelMap, EvidenceKind, Quantity};

use crate::error::IntakeError;
use crate::place::shown;

/// A column that must be there.
pub(crate) struct Wanted<'a> {
    pub column: &'a str,
    pub wanted_for: String,
}

/// Returns the columns that must be there.
pub(crate) fn wanted(map: &ChannelMap) -> Vec<Wanted<'_>> {
    let time = map.time.column.iter().map(|column| Wanted {
        column: column.trim(),
        wanted_for: "time".to_owned(),
    });
    let required = map.channels.iter().filter(|(_, channel)| !channel.optional);
    let channels = required.map(|(quantity, channel)| Wanted {
        column: channel.column.trim(),
        wanted_for: quantity.to_string(),
    });
    time.chain(channels).collect()
}

/// Either trim will do as evidence, but one must be there.
pub(crate) fn check_evidence(
    columns: &[String],
    row: u64,
    map: &ChannelMap,
    source_name: &str,
) -> Result<(), IntakeError> {
    if map.evidence == EvidenceKind::Lambda {
        return Ok(());
    }
    let trims = [Quantity::ShortTermTrim, Quantity::LongTermTrim];
    let mapped = trims
        .iter()
        .filter_map(|trim| Some((*trim, map.channels.get(trim)?)));
    let mut first = None;
    for (quantity, channel) in mapped {
        if has(columns, &channel.column) {
            return Ok(());
        }
        first.get_or_insert((quantity, channel));
    }
    match first {
        None => Ok(()),
        Some((quantity, channel)) => Err(column_missing(
            columns,
            row,
            channel.column.trim(),
            quantity.as_str(),
            source_name,
        )),
    }
}

/// Returns whether `columns` has one that is named `column`.
pub(crate) fn has(columns: &[String], column: &str) -> bool {
    columns.iter().any(|name| name == column.trim())
}

/// Complains that `columns`, which stand in `row` (0 where they stand in none), lack one.
pub(crate) fn column_missing(
    columns: &[String],
    row: u64,
    column: &str,
    wanted_for: &str,
    source_name: &str,
) -> IntakeError {
    let mut present: Vec<(f64, String)> = columns
        .iter()
        .filter(|name| !name.is_empty())
        .map(|name| (likeness(name, column), shown(name.as_bytes())))
        .collect();
    present.sort_by(|a, b| b.0.total_cmp(&a.0));
    IntakeError::ColumnMissing {
        source_name: source_name.to_owned(),
        row,
        column: column.to_owned(),
        wanted_for: wanted_for.to_owned(),
        present: present.into_iter().map(|(_, name)| name).collect(),
    }
}

/// Returns how alike two names are, 0 to 1, by their letters and digits alone.
fn likeness(a: &str, b: &str) -> f64 {
    let plain = |name: &str| -> String {
        name.chars()
            .filter(|letter| letter.is_alphanumeric())
            .flat_map(char::to_lowercase)
            .collect()
    };
    let (a, b) = (plain(a), plain(b));
    strsim::sorensen_dice(&a, &b).max(strsim::normalized_damerau_levenshtein(&a, &b))
}
