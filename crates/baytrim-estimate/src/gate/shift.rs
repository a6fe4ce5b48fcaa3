//! Shift cut: a gear is changed under load with ignition or fuel cut.

use baytrim_model::gate::GateSettings;

use crate::row::Row;

/// Seconds before the flag from which rows are refused: flags come late by a bus message or two.
const LOOK_BACK_S: f64 = 0.05;

/// What the shift gate says of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ShiftVerdict {
    /// The row is refused.
    pub(super) refuses: bool,
    /// Where a shift just began: the time from which earlier rows are refused as well.
    pub(super) began_s: Option<f64>,
}

/// Watches the shift flag.
#[derive(Debug, Clone)]
pub(super) struct Shift {
    after_s: f64,
    shifting: bool,
    last_s: f64,
}

impl Shift {
    pub(super) fn new(settings: &GateSettings) -> Self {
        Self {
            after_s: settings.shift_s,
            shifting: false,
            last_s: f64::NEG_INFINITY,
        }
    }

    pub(super) fn restart(&mut self) {
        self.shifting = false;
        self.last_s = f64::NEG_INFINITY;
    }

    pub(super) fn check(&mut self, row: &Row) -> ShiftVerdict {
        let flagged = row.shift_cut >= 0.5;
        let began_s = (flagged && !self.shifting).then_some(row.offset_s - LOOK_BACK_S);
        self.shifting = flagged;
        if flagged {
            self.last_s = row.offset_s;
        }
        ShiftVerdict {
            refuses: row.offset_s - self.last_s <= self.after_s,
            began_s,
        }
    }
}
