//! A log as it stands, before anything is made of it.

use baytrim_model::channel::Unit;

/// Most numbers that are kept of a log to look at: 32 MB of them.
pub(crate) const CELLS_MAX: usize = 4_000_000;

/// Most different texts that are kept of a column.
const TEXTS_MAX: usize = 8;

/// The columns of a log, or the first rows of them.
#[derive(Debug, Clone)]
pub(crate) struct RawTable {
    /// Number of each row looked at, as an editor counts.
    pub rows: Vec<u64>,
    /// Whether there are more rows than were looked at.
    pub is_cut: bool,
    /// The columns, in the order of the log, those without a name left out.
    pub columns: Vec<RawColumn>,
}

/// One column as it stands.
#[derive(Debug, Clone, Default)]
pub(crate) struct RawColumn {
    /// Its name, to the letter.
    pub name: String,
    /// Its unit as the log states it beside the name.
    pub unit: Option<String>,
    /// Its numbers, NaN where there is none; seconds where it is written as times.
    pub values: Vec<f64>,
    /// The notation of its times, where it is written as times.
    pub notation: Option<Unit>,
    /// Texts among its numbers, with how often each was met.
    pub texts: Vec<(String, usize)>,
    /// Whether it is the file's own clock.
    pub is_clock: bool,
}

impl RawColumn {
    /// Returns whether hardly a row of it, one in ten at most, holds a number or a time.
    pub(crate) fn is_prose(&self) -> bool {
        let numbers = self.values.iter().filter(|value| !value.is_nan());
        10 * numbers.count() < self.values.len()
    }

    /// Counts a text that is no number.
    pub(crate) fn count_text(&mut self, text: &str) {
        if let Some((_, count)) = self.texts.iter_mut().find(|(known, _)| known == text) {
            *count += 1;
        } else if self.texts.len() < TEXTS_MAX {
            self.texts.push((text.to_owned(), 1));
        }
    }
}
