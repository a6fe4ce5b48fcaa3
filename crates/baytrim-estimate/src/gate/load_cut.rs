//! Cuts under load that are no gear change: the rev limiter, and launch or traction control.
//!
//! Launch and traction control leave the same mark, very lean pulses at an open plate, and are one
//! gate; the limiter is told from them by the engine speed at which it comes.

use baytrim_model::gate::{GateName, GateSettings};

use crate::row::Row;

/// Seconds before lambda shows a cut from which rows are refused: transport, and the sensor's rise.
const LOOK_BACK_S: f64 = 0.5;
/// Seconds before the flag from which rows are refused: flags come late by a bus message or two.
const FLAG_LOOK_BACK_S: f64 = 0.05;
/// Seconds that the plate must have been open: exhaust of a shut plate has passed by then.
const OPEN_FOR_S: f64 = 1.0;
/// Seconds of open plate after which fuel has returned from any overrun.
const OVERRUN_ENDS_S: f64 = 0.3;
/// Longest pulse, seconds: what stays lean for longer is a mixture, and a lean mixture must be seen.
const PULSE_S_MAX: f64 = 2.0;
/// Share of the highest speed from which the limiter is at work.
const CEILING_SHARE: f64 = 0.98;
/// Share of the speed stated for the limiter from which readings are refused.
const STATED_SHARE: f64 = 0.99;

/// What the gate says of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LoadCutVerdict {
    /// The gate that refuses the row.
    pub(super) refused_by: Option<GateName>,
    /// Where a cut just showed: the time from which earlier rows are refused as well.
    pub(super) began_s: Option<f64>,
}

/// Watches for cuts at an open plate, by flag, by engine speed and by lambda.
#[derive(Debug, Clone)]
pub(super) struct LoadCut {
    plate_percent_min: f64,
    lambda_min: f64,
    limit_rpm: f64,
    after_s: f64,
    highest_rpm: f64,
    near_ceiling_s: f64,
    open_since_s: f64,
    lean_since_s: f64,
    last_flag_s: f64,
    cutting: bool,
    cause: GateName,
    last_s: f64,
}

impl LoadCut {
    pub(super) fn new(settings: &GateSettings) -> Self {
        Self {
            plate_percent_min: settings.cut_plate_percent_min,
            lambda_min: settings.cut_lambda_min,
            limit_rpm: settings.rev_limit_rpm,
            after_s: settings.shift_s,
            highest_rpm: 0.0,
            near_ceiling_s: f64::NEG_INFINITY,
            open_since_s: f64::INFINITY,
            lean_since_s: f64::INFINITY,
            last_flag_s: f64::NEG_INFINITY,
            cutting: false,
            cause: GateName::TorqueCut,
            last_s: f64::NEG_INFINITY,
        }
    }

    pub(super) fn restart(&mut self) {
        self.near_ceiling_s = f64::NEG_INFINITY;
        self.open_since_s = f64::INFINITY;
        self.lean_since_s = f64::INFINITY;
        self.last_flag_s = f64::NEG_INFINITY;
        self.cutting = false;
        self.last_s = f64::NEG_INFINITY;
    }

    /// Returns whether the plate has been open for so long that a cut of fuel is no overrun.
    fn is_under_load(&self, now_s: f64) -> bool {
        now_s - self.open_since_s >= OVERRUN_ENDS_S
    }

    pub(super) fn check(&mut self, row: &Row) -> LoadCutVerdict {
        let now_s = row.offset_s;
        self.follow(row);
        let at_limit = self.limit_rpm > 0.0 && row.rpm >= STATED_SHARE * self.limit_rpm;
        let flagged = row.torque_cut >= 0.5 || row.fuel_cut >= 0.5 && self.is_under_load(now_s);
        if flagged || row.shift_cut >= 0.5 {
            self.last_flag_s = now_s;
        }
        // What a flag has told already is left to the footprint, which knows when its exhaust passes.
        let told = now_s - self.last_flag_s <= OPEN_FOR_S;
        let pulse = !told && (0.0..=PULSE_S_MAX).contains(&(now_s - self.lean_since_s));
        let cuts = at_limit || flagged || pulse;
        let look_back_s = if at_limit || flagged {
            FLAG_LOOK_BACK_S
        } else {
            LOOK_BACK_S
        };
        let began_s = (cuts && !self.cutting).then_some(now_s - look_back_s);
        self.cutting = cuts;
        if cuts {
            self.last_s = now_s;
            let near_ceiling = now_s - self.near_ceiling_s <= OPEN_FOR_S;
            self.cause = if at_limit || near_ceiling {
                GateName::RevLimiter
            } else {
                GateName::TorqueCut
            };
        }
        LoadCutVerdict {
            refused_by: (now_s - self.last_s <= self.after_s).then_some(self.cause),
            began_s,
        }
    }

    fn follow(&mut self, row: &Row) {
        let now_s = row.offset_s;
        self.highest_rpm = self.highest_rpm.max(row.rpm);
        let ceiling = if self.limit_rpm > 0.0 {
            self.limit_rpm
        } else {
            self.highest_rpm
        };
        if row.rpm >= CEILING_SHARE * ceiling {
            self.near_ceiling_s = now_s;
        }
        let open = row.plate_percent >= self.plate_percent_min;
        self.open_since_s = if open {
            self.open_since_s.min(now_s)
        } else {
            f64::INFINITY
        };
        let lean = row.lambda > self.lambda_min && now_s - self.open_since_s >= OPEN_FOR_S;
        self.lean_since_s = if lean {
            self.lean_since_s.min(now_s)
        } else {
            f64::INFINITY
        };
    }
}

#[cfg(test)]
mod tests {
    use super::LoadCut;
    use baytrim_model::gate::{GateName, GateSettings};

    use crate::row::Row;

    /// Gates and times of what is refused of five seconds at 60 % plate.
    fn refused(settings: &GateSettings, change: impl Fn(f64, Row) -> Row) -> Vec<(f64, GateName)> {
        let mut gate = LoadCut::new(settings);
        let rows = (0..250).map(|step| {
            let offset_s = f64::from(step) * 0.02;
            let row = Row {
                offset_s,
                rpm: 5000.0 + 200.0 * offset_s,
                plate_percent: 60.0,
                lambda: 0.9,
                ..Row::EMPTY
            };
            change(offset_s, row)
        });
        rows.filter_map(|row| Some((row.offset_s, gate.check(&row).refused_by?)))
            .collect()
    }

    /// Air of a cut cylinder would be read as a lean mixture.
    #[test]
    fn a_very_lean_pulse_at_an_open_plate_is_a_cut() {
        let pulse = |now_s: f64, row: Row| Row {
            rpm: if now_s < 1.0 { 8000.0 } else { row.rpm },
            lambda: if (3.0..3.3).contains(&now_s) {
                1.5
            } else {
                0.9
            },
            ..row
        };
        let found = refused(&GateSettings::default(), pulse);
        assert!((found[0].0 - 3.0).abs() < 0.01 && found[found.len() - 1].0 < 3.75);
        assert!(found.iter().all(|&(_, gate)| gate == GateName::TorqueCut));
    }

    /// A mixture that really is too lean must be seen, however lean it is.
    #[test]
    fn what_stays_lean_is_no_cut() {
        let lean = |now_s: f64, row: Row| Row {
            lambda: if now_s >= 2.0 { 1.35 } else { 0.9 },
            ..row
        };
        let found = refused(&GateSettings::default(), lean);
        assert!(found[found.len() - 1].0 < 4.5, "{:?}", found.last());
        let mild = refused(&GateSettings::default(), |_, row| Row {
            lambda: 1.25,
            ..row
        });
        assert!(mild.is_empty(), "{mild:?}");
    }

    /// Readings at the limiter would spoil the last column of every table.
    #[test]
    fn the_limiter_is_known_by_its_speed() {
        let settings = GateSettings {
            rev_limit_rpm: 5800.0,
            ..GateSettings::default()
        };
        let found = refused(&settings, |_, row| row);
        assert!((found[0].0 - 3.72).abs() < 0.03, "{:?}", found[0]);
        assert!(found.iter().all(|&(_, gate)| gate == GateName::RevLimiter));
        // Not stated, the highest speed of the log with a very lean pulse is it.
        let seen = refused(&GateSettings::default(), |now_s, row| Row {
            lambda: if now_s > 4.8 { 1.4 } else { 0.9 },
            ..row
        });
        assert_eq!(
            seen.first().map(|&(_, gate)| gate),
            Some(GateName::RevLimiter)
        );
        assert!(refused(&GateSettings::default(), |_, row| row).is_empty());
    }

    /// A flag of the log would be overlooked.
    #[test]
    fn flags_are_heeded() {
        let traction = refused(&GateSettings::default(), |now_s, row| Row {
            rpm: if now_s < 1.0 { 8000.0 } else { row.rpm },
            torque_cut: if (3.0..3.1).contains(&now_s) {
                1.0
            } else {
                0.0
            },
            ..row
        });
        assert_eq!(
            traction.first().map(|&(_, gate)| gate),
            Some(GateName::TorqueCut)
        );
        assert!(
            traction
                .iter()
                .all(|&(at_s, _)| (2.99..3.6).contains(&at_s))
        );
    }
}
