//! Overrun cut and recovery: no fuel, then walls that fill again.

use baytrim_model::gate::GateSettings;

use crate::row::Row;

/// Seconds before lambda shows a cut that is not flagged from which readings are refused:
/// the rise of the sensor up to the threshold.
const LOOK_BACK_S: f64 = 0.4;
/// Below this speed a shut plate is idling, not overrun.
const OVERRUN_RPM_MIN: f64 = 1200.0;

/// Seconds of shut plate after which a cut that nobody flags must have shown in lambda: the controller's
/// wait, the transport at low flow and the lag. Until then every shut plate may be one.
const DOUBT_S: f64 = 3.0;

/// What the overrun gate says of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct OverrunVerdict {
    /// No fuel flows.
    pub(super) cuts: bool,
    /// The plate is shut, and whether fuel flows will only show.
    pub(super) doubtful: bool,
    /// Fuel came back a moment ago.
    pub(super) recovers: bool,
    /// Where a cut just showed in lambda: the time from which earlier rows are refused as well.
    pub(super) began_s: Option<f64>,
}

/// Watches for overrun cuts, by flag and by behaviour.
#[derive(Debug, Clone)]
pub(super) struct Overrun {
    plate_percent_max: f64,
    lambda_min: f64,
    recovery_s: f64,
    cutting: bool,
    last_cut_s: f64,
    shut_since_s: f64,
    last_shut_s: f64,
}

impl Overrun {
    pub(super) fn new(settings: &GateSettings) -> Self {
        Self {
            plate_percent_max: settings.overrun_plate_percent_max,
            lambda_min: settings.overrun_lambda_min,
            recovery_s: settings.recovery_s,
            cutting: false,
            last_cut_s: f64::NEG_INFINITY,
            shut_since_s: f64::INFINITY,
            last_shut_s: f64::NEG_INFINITY,
        }
    }

    pub(super) fn restart(&mut self) {
        self.cutting = false;
        self.last_cut_s = f64::NEG_INFINITY;
        self.shut_since_s = f64::INFINITY;
        self.last_shut_s = f64::NEG_INFINITY;
    }

    pub(super) fn check(&mut self, row: &Row) -> OverrunVerdict {
        let flagged = row.fuel_cut >= 0.5;
        // Once the plate opens again, exhaust of the cut is still on its way: as long as lambda
        // stays that lean after a cut it is the cut that is being read.
        let shut = row.plate_percent <= self.plate_percent_max && row.rpm >= OVERRUN_RPM_MIN;
        let lean = row.lambda > self.lambda_min;
        if shut {
            self.last_shut_s = row.offset_s;
        }
        let lately = row.fuel_cut.is_nan() && row.offset_s - self.last_shut_s < DOUBT_S;
        let shown = lean && (shut || self.cutting || lately);
        self.shut_since_s = if shut {
            self.shut_since_s.min(row.offset_s)
        } else {
            f64::INFINITY
        };
        let cuts = flagged || shown;
        let doubtful = row.fuel_cut.is_nan() && row.offset_s - self.shut_since_s < DOUBT_S && shut;
        let began_s = (cuts && !self.cutting).then_some(row.offset_s - LOOK_BACK_S);
        self.cutting = cuts;
        if cuts {
            self.last_cut_s = row.offset_s;
        }
        OverrunVerdict {
            cuts,
            doubtful,
            recovers: !cuts && row.offset_s - self.last_cut_s <= self.recovery_s,
            began_s: began_s.filter(|_| !flagged),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Overrun;
    use baytrim_model::gate::GateSettings;

    use crate::row::Row;

    fn row(offset_s: f64, plate_percent: f64, lambda: f64, fuel_cut: f64) -> Row {
        Row {
            offset_s,
            rpm: 4000.0,
            plate_percent,
            lambda,
            fuel_cut,
            ..Row::EMPTY
        }
    }

    /// Air read as a lean mixture would add fuel where none is needed.
    #[test]
    fn cuts_are_seen_by_flag_and_by_behaviour() {
        let mut gate = Overrun::new(&GateSettings::default());
        assert!(!gate.check(&row(0.0, 0.0, 1.0, f64::NAN)).cuts);
        let shown = gate.check(&row(0.1, 0.0, 1.5, f64::NAN));
        assert!(shown.cuts && shown.began_s.is_some_and(|since| since < 0.0));
        assert!(
            gate.check(&row(0.2, 30.0, 2.0, f64::NAN)).cuts,
            "still read after reopening"
        );
        let after = gate.check(&row(0.3, 30.0, 1.0, f64::NAN));
        assert!(!after.cuts && after.recovers);
        assert!(
            !gate.check(&row(5.0, 30.0, 1.5, f64::NAN)).cuts,
            "lean with the plate open"
        );
        assert!(gate.check(&row(5.1, 30.0, 1.0, 1.0)).cuts, "flagged");
    }
}
