//! Where in a log something stands.

use std::fmt;

/// Most characters of a cell that a message shows.
const SHOWN_CHARS_MAX: usize = 40;

/// One cell of a log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CellPlace {
    /// The log.
    pub source_name: String,
    /// Row, as an editor counts lines, from 1.
    pub row: u64,
    /// Name of the column.
    pub column: String,
}

impl CellPlace {
    /// Returns the place without the log's name.
    pub fn cell(&self) -> String {
        format!("row {}, column \"{}\"", self.row, self.column)
    }
}

impl fmt::Display for CellPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: row {}, column \"{}\"",
            self.source_name, self.row, self.column
        )
    }
}

/// Returns the first forty characters of `bytes`, control characters replaced.
pub(crate) fn shown(bytes: &[u8]) -> String {
    let text = decode(bytes);
    let mut shown: String = text
        .trim()
        .chars()
        .map(|letter| {
            if letter.is_control() {
                char::REPLACEMENT_CHARACTER
            } else {
                letter
            }
        })
        .take(SHOWN_CHARS_MAX)
        .collect();
    if text.trim().chars().count() > SHOWN_CHARS_MAX {
        shown.push('…');
    }
    shown
}

/// Returns `bytes` as text: UTF-8 where they are, else Windows-1252, in which every byte is a letter.
pub(crate) fn decode(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => encoding_rs::WINDOWS_1252
            .decode_without_bom_handling(bytes)
            .0
            .into_owned(),
    }
}
