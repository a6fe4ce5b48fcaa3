//! Secondary air: fresh air in the exhaust, blown by a pump or drawn in through reeds.

use baytrim_model::gate::GateSettings;

use crate::row::Row;

/// Watches the flag, or the region of the table that the job names.
#[derive(Debug, Clone)]
pub(super) struct SecondaryAir {
    rpm_max: f64,
    plate_percent_max: f64,
    after_s: f64,
    last_s: f64,
}

impl SecondaryAir {
    pub(super) fn new(settings: &GateSettings) -> Self {
        Self {
            rpm_max: settings.secondary_air_rpm_max,
            plate_percent_max: settings.secondary_air_plate_percent_max,
            after_s: settings.secondary_air_after_s,
            last_s: f64::NEG_INFINITY,
        }
    }

    pub(super) fn restart(&mut self) {
        self.last_s = f64::NEG_INFINITY;
    }

    pub(super) fn refuses(&mut self, row: &Row) -> bool {
        let flows = if row.secondary_air.is_nan() {
            self.rpm_max > 0.0
                && row.rpm <= self.rpm_max
                && row.plate_percent <= self.plate_percent_max
        } else {
            row.secondary_air >= 0.5
        };
        if flows {
            self.last_s = row.offset_s;
        }
        row.offset_s - self.last_s <= self.after_s
    }
}

#[cfg(test)]
mod tests {
    use super::SecondaryAir;
    use baytrim_model::gate::GateSettings;

    use crate::row::Row;

    fn row(offset_s: f64, rpm: f64, secondary_air: f64) -> Row {
        Row {
            offset_s,
            rpm,
            plate_percent: 2.0,
            secondary_air,
            ..Row::EMPTY
        }
    }

    /// Air behind the valves would be answered with fuel in front of them.
    #[test]
    fn flag_and_region_refuse_and_nothing_else_does() {
        let mut gate = SecondaryAir::new(&GateSettings::default());
        assert!(
            !gate.refuses(&row(0.0, 1500.0, f64::NAN)),
            "no region, no flag"
        );
        assert!(gate.refuses(&row(1.0, 1500.0, 1.0)));
        assert!(gate.refuses(&row(1.9, 1500.0, 0.0)), "still in the pipe");
        assert!(!gate.refuses(&row(2.1, 1500.0, 0.0)));
        let mut gate = SecondaryAir::new(&GateSettings {
            secondary_air_rpm_max: 2500.0,
            secondary_air_plate_percent_max: 4.0,
            ..GateSettings::default()
        });
        assert!(gate.refuses(&row(0.0, 2400.0, f64::NAN)));
        assert!(!gate.refuses(&row(5.0, 2600.0, f64::NAN)));
        assert!(
            !gate.refuses(&row(9.0, 2400.0, 0.0)),
            "the flag knows better"
        );
    }
}
