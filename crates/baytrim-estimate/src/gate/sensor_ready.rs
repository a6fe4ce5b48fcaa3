//! Sensor not ready: the lambda sensor heats up, or began to read only a moment ago.
//!
//! By the flag, where there is one; else a sensor heats that shows nothing or one same value from the
//! start of the log, as [`super::stuck`] tells.

use baytrim_model::gate::GateSettings;

use crate::row::Row;

/// Watches the sensor's readiness.
#[derive(Debug, Clone)]
pub(super) struct SensorReady {
    settle_s: f64,
    last_unready_s: f64,
}

impl SensorReady {
    pub(super) fn new(settings: &GateSettings) -> Self {
        Self {
            settle_s: settings.sensor_settle_s,
            last_unready_s: f64::NEG_INFINITY,
        }
    }

    /// Returns whether the row is refused; `heats` when the sensor's reading says that it heats.
    pub(super) fn refuses(&mut self, row: &Row, heats: bool) -> bool {
        let unready = row.sensor_ready < 0.5 || row.sensor_ready.is_nan() && heats;
        if unready && row.offset_s.is_finite() {
            self.last_unready_s = row.offset_s;
        }
        unready || row.offset_s - self.last_unready_s <= self.settle_s
    }
}

#[cfg(test)]
mod tests {
    use super::SensorReady;
    use baytrim_model::gate::GateSettings;

    use crate::row::Row;

    /// What a sensor shows while its heater settles would be taken for lambda.
    #[test]
    fn readings_wait_until_the_heater_has_settled() {
        let settings = GateSettings {
            sensor_settle_s: 2.0,
            ..GateSettings::default()
        };
        let row = |offset_s: f64, sensor_ready: f64| Row {
            offset_s,
            sensor_ready,
            ..Row::EMPTY
        };
        let mut gate = SensorReady::new(&settings);
        assert!(gate.refuses(&row(0.0, 0.0), false));
        assert!(gate.refuses(&row(1.9, 1.0), false), "just ready");
        assert!(!gate.refuses(&row(2.1, 1.0), false));
        let mut gate = SensorReady::new(&settings);
        assert!(!gate.refuses(&row(0.0, f64::NAN), false), "not logged");
        assert!(gate.refuses(&row(0.1, f64::NAN), true), "shows nothing yet");
        assert!(!gate.refuses(&row(0.1, 1.0), true) || gate.settle_s > 0.0);
    }
}
