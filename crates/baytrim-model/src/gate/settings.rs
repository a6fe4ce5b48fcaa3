//! The parameters of the gates.

use serde::{Deserialize, Serialize};

use crate::field::{FieldError, check_range};

/// The parameters of the gates of a job. A gate without its channel in the log does nothing,
/// save those for overrun, gear changes and other cuts, which then go by behaviour.
///
/// Records written before a parameter existed read with its default.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct GateSettings {
    /// Plate opening at or below which an overrun fuel cut is possible, percent, 0 to 20.
    pub overrun_plate_percent_max: f64,
    /// Lambda above which a shut plate means a fuel cut, 1.05 to 2.
    pub overrun_lambda_min: f64,
    /// Seconds that readings stay refused after fuel returns, beyond delay and lag, 0 to 10.
    pub recovery_s: f64,
    /// Seconds refused after a gear change, the limiter or another cut under load, beyond delay and lag, 0 to 5.
    pub shift_s: f64,
    /// Where gear changes are not flagged: fall of engine speed within 0.2 s at an open plate that counts
    /// as one, percent, 2 to 100; 100 switches it off. Common practice is 8 % in 0.1 s.
    pub shift_rpm_drop_percent: f64,
    /// Plate opening from which a very lean pulse means that fuel or spark was cut under load, percent, 5 to 100.
    pub cut_plate_percent_min: f64,
    /// Lambda of such a pulse, 1.05 to 20. Common practice.
    pub cut_lambda_min: f64,
    /// Speed at which the limiter cuts, rpm, up to 25 000; from 1 % below it readings are refused.
    /// 0: not known, the limiter goes by very lean pulses at the highest speed of the log.
    pub rev_limit_rpm: f64,
    /// Where secondary air is not logged: it flows at or below this speed, rpm, up to 25 000 ...; 0: nowhere.
    pub secondary_air_rpm_max: f64,
    /// ... with the plate at or below this, percent, 0 to 100.
    pub secondary_air_plate_percent_max: f64,
    /// Seconds that readings stay refused after secondary air was shut off, beyond delay and lag, 0 to 30.
    pub secondary_air_after_s: f64,
    /// Closed-loop trims up to this, where logged, are too small to matter, percent, 0 to 25.
    pub closed_loop_trim_percent_max: f64,
    /// Purge up to this is too little to matter, percent, 0 to 100; 100 switches the gate off.
    pub purge_percent_max: f64,
    /// Coolant temperature from which the engine counts as warm, degrees Celsius, 0 to 120.
    pub coolant_c_min: f64,
    /// Rise of the coolant above which the engine still warms up, in the first 15 degrees above
    /// `coolant_c_min`, degrees Celsius a minute, 0.5 to 1000.
    pub coolant_rise_c_per_min_max: f64,
    /// Plate rate above which readings are refused until settled, percent a second, 0.5 to 1000.
    pub plate_rate_percent_per_s_max: f64,
    /// Seconds for which readings stay refused after such movement, 0 to 10; how long the wall film
    /// takes to settle is judged by `unsettled_share_max`.
    pub settle_s: f64,
    /// Share of the fuel flow that the wall film may still be owed, or owe, before readings are refused, 0.02 to 2.
    pub unsettled_share_max: f64,
    /// Change of engine speed above which readings are refused, rpm a second, up to 100 000; 0: any change
    /// is good, since footprints follow it. Holds alone are commonly kept to 300 to 500.
    pub rpm_rate_rpm_per_s_max: f64,
    /// Leanest end of the lambda sensor's range, 1.05 to 20.
    pub sensor_lambda_max: f64,
    /// Richest end of the lambda sensor's range, 0.4 to 0.95.
    pub sensor_lambda_min: f64,
    /// Seconds that a lambda sensor is not trusted after it became ready, 0 to 60. Common practice.
    pub sensor_settle_s: f64,
    /// Seconds for which a channel must hold one value, longer than it is used to, while others move,
    /// to count as stuck, 0.5 to 600.
    pub stuck_s: f64,
    /// A pause between rows that is longer than this is a gap, seconds, 0.01 to 60;
    /// a log that is slower throughout is judged by four of its own row intervals instead.
    pub gap_s_max: f64,
}

impl Default for GateSettings {
    fn default() -> Self {
        Self {
            overrun_plate_percent_max: 2.0,
            overrun_lambda_min: 1.3,
            recovery_s: 1.2,
            shift_s: 0.4,
            shift_rpm_drop_percent: 6.0,
            cut_plate_percent_min: 30.0,
            cut_lambda_min: 1.3,
            rev_limit_rpm: 0.0,
            secondary_air_rpm_max: 0.0,
            secondary_air_plate_percent_max: 0.0,
            secondary_air_after_s: 1.0,
            closed_loop_trim_percent_max: 0.5,
            purge_percent_max: 1.0,
            coolant_c_min: 70.0,
            coolant_rise_c_per_min_max: 12.0,
            plate_rate_percent_per_s_max: 80.0,
            settle_s: 0.2,
            unsettled_share_max: 0.4,
            rpm_rate_rpm_per_s_max: 0.0,
            sensor_lambda_max: 1.8,
            sensor_lambda_min: 0.65,
            sensor_settle_s: 2.0,
            stuck_s: 3.0,
            gap_s_max: 0.5,
        }
    }
}

/// A parameter: its key, its value, the range that is allowed, its unit.
pub type GateParameter = (&'static str, f64, (f64, f64), &'static str);

impl GateSettings {
    /// Returns every parameter with its key, in the order in which job files list them.
    pub fn parameters(&self) -> [GateParameter; 24] {
        [
            (
                "overrun_plate_percent_max",
                self.overrun_plate_percent_max,
                (0.0, 20.0),
                "percent",
            ),
            (
                "overrun_lambda_min",
                self.overrun_lambda_min,
                (1.05, 2.0),
                "",
            ),
            ("recovery_s", self.recovery_s, (0.0, 10.0), "s"),
            ("shift_s", self.shift_s, (0.0, 5.0), "s"),
            (
                "shift_rpm_drop_percent",
                self.shift_rpm_drop_percent,
                (2.0, 100.0),
                "percent",
            ),
            (
                "cut_plate_percent_min",
                self.cut_plate_percent_min,
                (5.0, 100.0),
                "percent",
            ),
            ("cut_lambda_min", self.cut_lambda_min, (1.05, 20.0), ""),
            ("rev_limit_rpm", self.rev_limit_rpm, (0.0, 25_000.0), "rpm"),
            (
                "secondary_air_rpm_max",
                self.secondary_air_rpm_max,
                (0.0, 25_000.0),
                "rpm",
            ),
            (
                "secondary_air_plate_percent_max",
                self.secondary_air_plate_percent_max,
                (0.0, 100.0),
                "percent",
            ),
            (
                "secondary_air_after_s",
                self.secondary_air_after_s,
                (0.0, 30.0),
                "s",
            ),
            (
                "closed_loop_trim_percent_max",
                self.closed_loop_trim_percent_max,
                (0.0, 25.0),
                "percent",
            ),
            (
                "purge_percent_max",
                self.purge_percent_max,
                (0.0, 100.0),
                "percent",
            ),
            (
                "coolant_c_min",
                self.coolant_c_min,
                (0.0, 120.0),
                "degrees C",
            ),
            (
                "coolant_rise_c_per_min_max",
                self.coolant_rise_c_per_min_max,
                (0.5, 1000.0),
                "degrees C a minute",
            ),
            (
                "plate_rate_percent_per_s_max",
                self.plate_rate_percent_per_s_max,
                (0.5, 1000.0),
                "percent a second",
            ),
            ("settle_s", self.settle_s, (0.0, 10.0), "s"),
            (
                "unsettled_share_max",
                self.unsettled_share_max,
                (0.02, 2.0),
                "of the fuel flow",
            ),
            (
                "rpm_rate_rpm_per_s_max",
                self.rpm_rate_rpm_per_s_max,
                (0.0, 100_000.0),
                "rpm a second",
            ),
            (
                "sensor_lambda_max",
                self.sensor_lambda_max,
                (1.05, 20.0),
                "",
            ),
            ("sensor_lambda_min", self.sensor_lambda_min, (0.4, 0.95), ""),
            ("sensor_settle_s", self.sensor_settle_s, (0.0, 60.0), "s"),
            ("stuck_s", self.stuck_s, (0.5, 600.0), "s"),
            ("gap_s_max", self.gap_s_max, (0.01, 60.0), "s"),
        ]
    }

    /// Returns what is wrong with these settings.
    pub fn problems(&self) -> Vec<FieldError> {
        let mut errors = Vec::new();
        for (key, value, range, unit) in self.parameters() {
            check_range(&mut errors, &format!("gates.{key}"), &[value], range, unit);
        }
        errors
    }
}

#[cfg(test)]
mod tests {
    use super::GateSettings;

    /// The ledgers of shops that ran an earlier version would not open any more.
    #[test]
    fn settings_of_an_earlier_version_still_read() {
        let text = r#"{"overrun_plate_percent_max":2.5,"overrun_lambda_min":1.3,"recovery_s":1.2,
            "coolant_c_min":65.0,"plate_rate_percent_per_s_max":80.0,"settle_s":0.2,
            "unsettled_share_max":0.4,"sensor_lambda_max":1.8,"sensor_lambda_min":0.65,
            "gap_s_max":0.5,"shift_s":0.4}"#;
        let settings: GateSettings = serde_json::from_str(text).expect("reads");
        let expected = GateSettings {
            overrun_plate_percent_max: 2.5,
            coolant_c_min: 65.0,
            ..GateSettings::default()
        };
        assert_eq!(settings, expected);
    }

    /// A parameter outside its range would be taken, or a default refused.
    #[test]
    fn every_parameter_is_kept_to_its_range() {
        assert!(GateSettings::default().problems().is_empty());
        for (index, (key, ..)) in GateSettings::default().parameters().iter().enumerate() {
            for value in ["-1.0", "1e300"] {
                let text = format!("{{\"{key}\": {value}}}");
                let settings: GateSettings = serde_json::from_str(&text).expect("reads");
                let problems = settings.problems();
                assert_eq!(problems.len(), 1, "{key}");
                assert_eq!(problems[0].field, format!("gates.{key}"));
                assert!(settings.parameters()[index].0 == *key);
            }
        }
    }
}
