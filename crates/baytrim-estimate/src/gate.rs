//! The line of gates that every row passes.
//!
//! A row is judged by itself here; that exhaust made at a refused row spoils later readings is the
//! kernel's part. Rows leave the line a moment after they entered, because a cut that shows only in
//! lambda began before lambda showed it.

mod gap;
mod overrun;
mod plate_rate;
pub(crate) mod rules;
mod shift;

use std::collections::VecDeque;

use baytrim_model::channel::EvidenceKind;
use baytrim_model::gate::{GateName, GateSettings};

use crate::hat::Hat;
use crate::row::Row;

use self::gap::Gap;
use self::overrun::Overrun;
use self::plate_rate::PlateRate;
use self::shift::Shift;

/// Seconds that a row waits in the line: the longest look back of any gate.
const WAIT_S: f64 = 0.6;
/// Most rows that wait in the line, whatever the logging rate.
const WAIT_ROWS_MAX: usize = 4096;

/// A row with the gate that refuses it, if one does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgedRow {
    /// The row.
    pub row: Row,
    /// Nodes around the operating point; meaningless where the row has none.
    pub hat: Hat,
    /// The first gate that refuses it.
    pub refused_by: Option<GateName>,
    /// Whether the kernel starts anew here.
    pub restarts: bool,
    /// Whether the engine got no fuel.
    pub without_fuel: bool,
}

/// Passes rows through all gates, in order.
#[derive(Debug, Clone)]
pub struct GateLine {
    settings: GateSettings,
    evidence: EvidenceKind,
    gap: Gap,
    overrun: Overrun,
    shift: Shift,
    plate_rate: PlateRate,
    waiting: VecDeque<JudgedRow>,
}

/// Lowers `slot` to `gate` when that is charged before what is there.
fn charge(slot: &mut Option<GateName>, gate: GateName) {
    let rank = |gate: GateName| GateName::ALL.iter().position(|&name| name == gate);
    if slot.is_none_or(|held| rank(gate) < rank(held)) {
        *slot = Some(gate);
    }
}

impl GateLine {
    /// Returns an empty line.
    pub fn new(settings: &GateSettings, evidence: EvidenceKind) -> Self {
        Self {
            settings: settings.clone(),
            evidence,
            gap: Gap::new(settings),
            overrun: Overrun::new(settings),
            shift: Shift::new(settings),
            plate_rate: PlateRate::new(settings),
            waiting: VecDeque::new(),
        }
    }

    /// Takes a row in; `hat` is its place and `inside` whether it lies in the table.
    pub fn push(&mut self, row: Row, hat: Hat, inside: bool) {
        let gap = self.gap.check(row.offset_s);
        if gap.restarts {
            self.overrun.restart();
            self.shift.restart();
            self.plate_rate.restart();
        }
        let mut judged = JudgedRow {
            row,
            hat,
            refused_by: None,
            restarts: gap.restarts,
            without_fuel: false,
        };
        if row.lacks_reading(self.evidence) {
            charge(&mut judged.refused_by, GateName::NoReading);
        }
        if gap.refuses {
            charge(&mut judged.refused_by, GateName::Gap);
        }
        if row.makes_exhaust() && row.offset_s.is_finite() {
            self.judge_by_behaviour(&mut judged);
        }
        if rules::sensor_not_ready(&row) {
            charge(&mut judged.refused_by, GateName::SensorNotReady);
        }
        if rules::sensor_at_stop(&row, &self.settings, self.evidence) {
            charge(&mut judged.refused_by, GateName::SensorStop);
        }
        if rules::cold(&row, &self.settings) {
            charge(&mut judged.refused_by, GateName::WarmUp);
        }
        if row.makes_exhaust() && !inside {
            charge(&mut judged.refused_by, GateName::OutOfTable);
        }
        self.waiting.push_back(judged);
    }

    fn judge_by_behaviour(&mut self, judged: &mut JudgedRow) {
        let cut = self.overrun.check(&judged.row);
        judged.without_fuel = cut.cuts;
        if cut.cuts || cut.doubtful {
            charge(&mut judged.refused_by, GateName::OverrunCut);
        } else if cut.recovers {
            charge(&mut judged.refused_by, GateName::Recovery);
        }
        if let Some(since_s) = cut.began_s {
            self.refuse_since(since_s, GateName::OverrunCut);
        }
        let shift = self.shift.check(&judged.row);
        if shift.refuses {
            charge(&mut judged.refused_by, GateName::ShiftCut);
        }
        if let Some(since_s) = shift.began_s {
            self.refuse_since(since_s, GateName::ShiftCut);
        }
        if self.plate_rate.refuses(&judged.row) {
            charge(&mut judged.refused_by, GateName::PlateRate);
        }
    }

    /// Refuses the waiting rows from `since_s` on, back to the last restart.
    fn refuse_since(&mut self, since_s: f64, gate: GateName) {
        for judged in self.waiting.iter_mut().rev() {
            if judged.row.offset_s < since_s {
                break;
            }
            charge(&mut judged.refused_by, gate);
            if judged.restarts {
                break;
            }
        }
    }

    /// Hands out the next row that no later row can change; all of them when `finished`.
    pub fn pop(&mut self, finished: bool) -> Option<JudgedRow> {
        let first = self.waiting.front()?;
        let last = self.waiting.back()?;
        let settled = last.row.offset_s - first.row.offset_s > WAIT_S
            || !first.row.offset_s.is_finite()
            || !last.row.offset_s.is_finite()
            || self.waiting.len() > WAIT_ROWS_MAX;
        if finished || settled {
            self.waiting.pop_front()
        } else {
            None
        }
    }
}
