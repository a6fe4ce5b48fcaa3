//! The line of gates that every row passes.
//!
//! A row is judged by itself here; that exhaust made at a refused row spoils later readings is the
//! kernel's part. Rows leave the line a moment after they entered, because a cut that shows only in
//! lambda began before lambda showed it.

mod dropout;
mod gap;
mod load_cut;
mod overrun;
mod peaks;
mod plate_rate;
mod plate_stuck;
mod rpm_rate;
pub(crate) mod rules;
mod secondary_air;
mod sensor_ready;
mod shift;
mod stuck;
mod warm_up;

use std::collections::VecDeque;

use baytrim_model::axis::Axes;
use baytrim_model::channel::EvidenceKind;
use baytrim_model::gate::{GateName, GateSettings};

use crate::hat::{Hat, HatFinder};
use crate::row::Row;

use self::dropout::Dropout;
use self::gap::Gap;
use self::load_cut::LoadCut;
use self::overrun::Overrun;
use self::plate_rate::PlateRate;
use self::plate_stuck::PlateStuck;
use self::rpm_rate::RpmRate;
use self::secondary_air::SecondaryAir;
use self::sensor_ready::SensorReady;
use self::shift::Shift;
use self::stuck::{Movement, Stuck};
use self::warm_up::WarmUp;

/// Seconds that a row waits in the line: the longest look back of any gate.
const WAIT_S: f64 = 0.6;
/// Most rows that wait in the line, whatever the logging rate.
const WAIT_ROWS_MAX: usize = 4096;
/// What must move for a lambda that stands to be stuck. Lambda flickers even where it is held.
const LAMBDA_STUCK: Movement = Movement {
    rpm_share: 0.05,
    plate_percent: 5.0,
};
/// What must move for an engine speed that stands to be stuck.
const RPM_STUCK: Movement = Movement {
    rpm_share: f64::INFINITY,
    plate_percent: 10.0,
};

/// A row with the gate that refuses it, if one does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgedRow {
    /// The row.
    pub row: Row,
    /// Nodes around the operating point; meaningless where the row has none.
    pub hat: Hat,
    /// The first gate that refuses it.
    pub refused_by: Option<GateName>,
    /// Whether exhaust made at the row is spoilt too, by that gate or by another.
    pub spoils_exhaust: bool,
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
    finder: HatFinder,
    gap: Gap,
    overrun: Overrun,
    shift: Shift,
    load_cut: LoadCut,
    sensor_ready: SensorReady,
    lambda_stuck: Stuck,
    rpm_stuck: Stuck,
    plate_stuck: PlateStuck,
    secondary_air: SecondaryAir,
    warm_up: WarmUp,
    plate_rate: PlateRate,
    rpm_rate: RpmRate,
    waiting: VecDeque<JudgedRow>,
    /// Rows from here on wait until it is known whether a channel is stuck.
    doubt_since_s: f64,
}

/// Whether exhaust made at a row that `gate` refuses is spoilt, not just the reading taken there.
pub(crate) fn spoils_exhaust(gate: GateName) -> bool {
    match gate {
        GateName::OverrunCut
        | GateName::Recovery
        | GateName::ShiftCut
        | GateName::RevLimiter
        | GateName::TorqueCut
        | GateName::SecondaryAir
        | GateName::ClosedLoop
        | GateName::Purge
        | GateName::WarmUp
        | GateName::PlateRate
        | GateName::RpmRate
        | GateName::OutOfTable => true,
        GateName::NoReading
        | GateName::Clock
        | GateName::Gap
        | GateName::ChannelFault
        | GateName::SensorStop
        | GateName::SensorNotReady
        | GateName::Footprint => false,
    }
}

impl JudgedRow {
    /// Charges the row to `gate` when that goes before the gate that it is charged to.
    fn charge(&mut self, gate: GateName) {
        let rank = |gate: GateName| GateName::ALL.iter().position(|&name| name == gate);
        if self.refused_by.is_none_or(|held| rank(gate) < rank(held)) {
            self.refused_by = Some(gate);
        }
        self.spoils_exhaust |= spoils_exhaust(gate);
    }
}

impl GateLine {
    /// Returns an empty line.
    pub fn new(settings: &GateSettings, evidence: EvidenceKind) -> Self {
        Self {
            settings: settings.clone(),
            evidence,
            finder: HatFinder::default(),
            gap: Gap::new(settings),
            overrun: Overrun::new(settings),
            shift: Shift::new(settings),
            load_cut: LoadCut::new(settings),
            sensor_ready: SensorReady::new(settings),
            lambda_stuck: Stuck::new(settings.stuck_s, LAMBDA_STUCK),
            rpm_stuck: Stuck::new(settings.stuck_s, RPM_STUCK),
            plate_stuck: PlateStuck::new(settings.stuck_s),
            secondary_air: SecondaryAir::new(settings),
            warm_up: WarmUp::new(settings),
            plate_rate: PlateRate::new(settings),
            rpm_rate: RpmRate::new(settings),
            waiting: VecDeque::new(),
            doubt_since_s: f64::INFINITY,
        }
    }

    /// Takes a row in; `axes` are those of the table.
    pub fn push(&mut self, axes: &Axes, row: Row) {
        let gap = self.gap.check(row.offset_s);
        if gap.restarts {
            self.restart();
        }
        let mut judged = JudgedRow {
            row,
            hat: Hat::default(),
            refused_by: None,
            spoils_exhaust: false,
            restarts: gap.restarts,
            without_fuel: false,
        };
        if let Some(gate) = gap.refused_by {
            judged.charge(gate);
        }
        if row.lacks_reading(self.evidence) {
            judged.charge(GateName::NoReading);
        }
        if row.makes_exhaust() {
            judged.hat = self.finder.find(axes, row.rpm, row.plate_percent);
            if row.offset_s.is_finite() {
                self.judge_cuts(&mut judged);
                self.judge_mixture(&mut judged);
                if !rules::in_table(axes, &row) {
                    judged.charge(GateName::OutOfTable);
                }
            }
        }
        if row.offset_s.is_finite() {
            self.judge_channels(&mut judged);
        }
        self.find_dropout(&row);
        self.waiting.push_back(judged);
    }

    fn restart(&mut self) {
        self.overrun.restart();
        self.shift.restart();
        self.load_cut.restart();
        self.lambda_stuck.restart();
        self.rpm_stuck.restart();
        self.plate_stuck.restart();
        self.secondary_air.restart();
        self.warm_up.restart();
        self.plate_rate.restart();
        self.rpm_rate.restart();
    }

    /// Gates that tell when fuel or spark was cut.
    fn judge_cuts(&mut self, judged: &mut JudgedRow) {
        let cut = self.overrun.check(&judged.row);
        let load_cut = self.load_cut.check(&judged.row);
        let shift = self.shift.check(&judged.row);
        judged.without_fuel = cut.cuts;
        if let Some(gate) = load_cut.refused_by {
            judged.charge(gate);
        } else if cut.cuts || cut.doubtful {
            judged.charge(GateName::OverrunCut);
        } else if cut.recovers {
            judged.charge(GateName::Recovery);
        }
        if let Some(since_s) = cut.began_s {
            self.refuse_since(since_s, GateName::OverrunCut);
        }
        if shift.refuses {
            judged.charge(GateName::ShiftCut);
        }
        if let Some(since_s) = shift.began_s {
            self.refuse_since(since_s, GateName::ShiftCut);
        }
        if let (Some(since_s), Some(gate)) = (load_cut.began_s, load_cut.refused_by) {
            self.refuse_since(since_s, gate);
        }
    }

    /// Gates that tell when the mixture was not the table's own, or not settled.
    fn judge_mixture(&mut self, judged: &mut JudgedRow) {
        let row = judged.row;
        let refused = [
            (self.secondary_air.refuses(&row), GateName::SecondaryAir),
            (
                rules::closed_loop(&row, &self.settings, self.evidence),
                GateName::ClosedLoop,
            ),
            (rules::purges(&row, &self.settings), GateName::Purge),
            (self.warm_up.refuses(&row), GateName::WarmUp),
            (self.plate_rate.refuses(&row), GateName::PlateRate),
            (self.rpm_rate.refuses(&row), GateName::RpmRate),
        ];
        for (_, gate) in refused.into_iter().filter(|(refuses, _)| *refuses) {
            judged.charge(gate);
        }
    }

    /// Gates that tell when sensors and channels do not say what is.
    fn judge_channels(&mut self, judged: &mut JudgedRow) {
        let row = judged.row;
        let at_stop = rules::sensor_at_stop(&row, &self.settings, self.evidence);
        if at_stop {
            judged.charge(GateName::SensorStop);
        }
        self.doubt_since_s = f64::INFINITY;
        if self.evidence == EvidenceKind::Trims {
            if self.sensor_ready.refuses(&row, false) {
                judged.charge(GateName::SensorNotReady);
            }
        } else if at_stop {
            // A sensor at its stop stands there; it says so itself.
            self.lambda_stuck.restart();
        } else {
            let (now_s, lambda) = (row.offset_s, row.lambda);
            let lambda = self
                .lambda_stuck
                .check(now_s, lambda, row.rpm, row.plate_percent);
            let gate = if lambda.from_start {
                GateName::SensorNotReady
            } else {
                GateName::ChannelFault
            };
            if let Some(since_s) = lambda.began_s {
                self.refuse_since(since_s, gate);
            }
            if lambda.stuck && !lambda.from_start {
                judged.charge(gate);
            }
            if self
                .sensor_ready
                .refuses(&row, lambda.stuck && lambda.from_start)
            {
                judged.charge(GateName::SensorNotReady);
            }
            self.doubt(lambda.doubt_since_s);
        }
        let rpm = self
            .rpm_stuck
            .check(row.offset_s, row.rpm, row.rpm, row.plate_percent);
        for place in [rpm, self.plate_stuck.check(&row)] {
            if place.stuck && !place.from_start {
                judged.charge(GateName::ChannelFault);
                judged.spoils_exhaust = true;
                if let Some(since_s) = place.began_s {
                    self.refuse_since(since_s, GateName::ChannelFault);
                    self.spoil_since(since_s);
                }
            }
            self.doubt(place.doubt_since_s);
        }
    }

    fn doubt(&mut self, since_s: Option<f64>) {
        self.doubt_since_s = self.doubt_since_s.min(since_s.unwrap_or(f64::INFINITY));
    }

    /// Refuses the last waiting row where `after` shows that a channel dropped out of it.
    fn find_dropout(&mut self, after: &Row) {
        let count = self.waiting.len();
        let Some(before) = count.checked_sub(2).map(|index| self.waiting[index].row) else {
            return;
        };
        let at = &mut self.waiting[count - 1];
        if at.restarts {
            return;
        }
        match dropout::of(&before, &at.row, after) {
            Dropout::None => {}
            Dropout::Reading => at.charge(GateName::ChannelFault),
            Dropout::Place => {
                at.charge(GateName::ChannelFault);
                at.spoils_exhaust = true;
            }
        }
    }

    /// Refuses the waiting rows from `since_s` on, back to the last restart.
    fn refuse_since(&mut self, since_s: f64, gate: GateName) {
        for judged in self.waiting.iter_mut().rev() {
            if judged.row.offset_s < since_s {
                break;
            }
            judged.charge(gate);
            if judged.restarts {
                break;
            }
        }
    }

    /// Spoils the exhaust of the waiting rows from `since_s` on, back to the last restart.
    fn spoil_since(&mut self, since_s: f64) {
        for judged in self.waiting.iter_mut().rev() {
            if judged.row.offset_s < since_s {
                break;
            }
            judged.spoils_exhaust = true;
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
        let doubted = first.row.offset_s >= self.doubt_since_s;
        if finished || settled && (!doubted || self.waiting.len() > WAIT_ROWS_MAX) {
            self.waiting.pop_front()
        } else {
            None
        }
    }
}
