//! The rows that the delay is searched on: judged once, and no more of them than the search can use.

use baytrim_model::gate::GateName;

use crate::frame::Frame;
use crate::gate::{GateLine, JudgedRow};
use crate::row::Columns;

/// Seconds between rows: several in a lag, and no more.
const STEP_S: f64 = 0.019;
/// Most rows: half an hour of them. Whoever logs for longer has told the delay by then, and memory stays bounded.
const ROWS_MAX: usize = 100_000;

/// Judges the rows of a pull and returns those that are [`STEP_S`] apart, each with what befell those before it.
pub(super) fn judged(frame: &Frame, columns: &Columns<'_>) -> Vec<JudgedRow> {
    let mut line = GateLine::new(&frame.gates, frame.evidence);
    let mut thin = Thin::default();
    let mut index = 0;
    while index < columns.len() && thin.rows.len() < ROWS_MAX {
        line.push(&frame.axes, columns.row(index));
        index += 1;
        while let Some(judged) = line.pop(index == columns.len()) {
            thin.take(judged);
        }
    }
    thin.rows
}

#[derive(Default)]
struct Thin {
    rows: Vec<JudgedRow>,
    /// What befell the rows that were left out since the last one taken.
    restarts: bool,
    spoils_exhaust: bool,
}

impl Thin {
    fn take(&mut self, mut judged: JudgedRow) {
        let clock = matches!(judged.refused_by, Some(GateName::Clock));
        self.restarts |= judged.restarts || self.rows.is_empty();
        self.spoils_exhaust |= judged.spoils_exhaust;
        let last_s = self.rows.last().map(|last| last.row.offset_s);
        let is_next = last_s.is_none_or(|last_s| judged.row.offset_s - last_s >= STEP_S);
        let usable = judged.row.offset_s.is_finite() && !clock;
        if usable && (is_next || self.restarts) {
            judged.restarts = self.restarts;
            judged.spoils_exhaust = self.spoils_exhaust;
            (self.restarts, self.spoils_exhaust) = (false, false);
            self.rows.push(judged);
        }
    }
}
