//! Tells what a text is that has no row of column names.

use super::header::{LINES_LOOKED_AT_MAX, is_reading, lines, split};
use crate::error::{IntakeError, NoHeader};
use crate::place::shown;

/// Marks that some programs set columns apart by and that are not read.
const OTHER_DELIMITERS: [char; 2] = [' ', '|'];

/// First letters of texts that are no tables, and what they are: JSON (RFC 8259), and the family
/// of XML and HTML.
const KINDS: [(u8, &str); 3] = [
    (b'{', "a JSON text"),
    (b'[', "a JSON text"),
    (b'<', "an XML or HTML text"),
];

/// Returns the refusal of a text without a row of column names.
pub(super) fn explain(head: &[u8], is_whole: bool, source_name: &str) -> IntakeError {
    let source_name = source_name.to_owned();
    let all: Vec<(u64, usize, &[u8])> = lines(head, is_whole).take(LINES_LOOKED_AT_MAX).collect();
    let Some((row, _, first)) = all.first() else {
        return IntakeError::Empty { source_name };
    };
    if let Some(kind) = kind_of(first) {
        return IntakeError::UnsupportedFormat { source_name, kind };
    }
    let bodies: Vec<&[u8]> = all.iter().map(|(_, _, line)| *line).collect();
    IntakeError::HeaderMissing {
        source_name,
        row: *row,
        text: shown(first),
        finding: finding(&bodies),
    }
}

/// Returns what a text is that begins with `line` and is no table by its first letter.
pub(super) fn kind_of(line: &[u8]) -> Option<&'static str> {
    let letter = *line.trim_ascii_start().first()?;
    let (_, kind) = KINDS.iter().find(|(first, _)| *first == letter)?;
    // A section mark of a settings file ends on its own line; a JSON list rarely does.
    (letter != b'[' || is_json_list(line)).then_some(*kind)
}

fn is_json_list(line: &[u8]) -> bool {
    let after = line.trim_ascii_start().get(1..).unwrap_or_default();
    let after = after.trim_ascii_start().first();
    after.is_none_or(|letter| b"{[\"-0123456789]".contains(letter))
}

fn finding(all: &[&[u8]]) -> NoHeader {
    let first = all.first().copied().unwrap_or_default();
    let widest = super::header::DELIMITERS
        .iter()
        .map(|delimiter| split(first, *delimiter))
        .max_by_key(Vec::len)
        .unwrap_or_default();
    if mostly_readings(&widest) {
        return NoHeader::Readings;
    }
    let other = OTHER_DELIMITERS
        .into_iter()
        .find(|mark| is_table_of(all, *mark));
    match other {
        Some(mark) => NoHeader::OtherDelimiter(mark),
        None => NoHeader::NoTable {
            line_count: all.len(),
        },
    }
}

/// Returns whether at least half of the cells that hold something are numbers or times.
pub(super) fn mostly_readings(cells: &[String]) -> bool {
    let filled = cells.iter().filter(|cell| !cell.is_empty());
    let reading_count = filled.clone().filter(|cell| is_reading(cell)).count();
    reading_count > 0 && 2 * reading_count >= filled.count()
}

/// Two lines of numbers that have as many cells, three or more.
fn is_table_of(all: &[&[u8]], mark: char) -> bool {
    let counts: Vec<usize> = all
        .iter()
        .map(|line| String::from_utf8_lossy(line).into_owned())
        .map(|line| {
            let cells: Vec<String> = line
                .split(mark)
                .map(|cell| cell.trim().to_owned())
                .filter(|cell| !cell.is_empty())
                .collect();
            if mostly_readings(&cells) {
                cells.len()
            } else {
                0
            }
        })
        .filter(|count| *count >= 3)
        .collect();
    counts.windows(2).any(|pair| pair[0] == pair[1])
}
