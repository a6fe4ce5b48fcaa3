//! The parameters of the gates.

use serde::{Deserialize, Serialize};

use crate::field::{FieldError, check_range};

/// A parameter: its key, its value, the range that is allowed, its unit.
pub type GateParameter = (&'static str, f64, (f64, f64), &'static str);

/// Writes out the settings, their defaults and their list from one line for each parameter:
/// key, default, lowest and highest value, unit.
macro_rules! gate_settings {
    ($($(#[$doc:meta])* $key:ident = $usual:literal, $low:literal to $high:literal, $unit:literal;)*) => {
        /// The parameters of the gates of a job. A gate without its channel in the log does nothing,
        /// save those for overrun, gear changes, other cuts and heating sensors, which then go by behaviour.
        ///
        /// Records written before a parameter existed read with its default.
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct GateSettings {
            $($(#[$doc])* pub $key: f64,)*
        }

        impl Default for GateSettings {
            fn default() -> Self {
                Self { $($key: $usual,)* }
            }
        }

        impl GateSettings {
            /// Returns every parameter, in the order in which job files list them.
            pub fn parameters(&self) -> Vec<GateParameter> {
                vec![$((stringify!($key), self.$key, ($low, $high), $unit),)*]
            }
        }
    };
}

gate_settings! {
    /// Plate opening at or below which an overrun fuel cut is possible, percent, 0 to 20.
    overrun_plate_percent_max = 2.0, 0.0 to 20.0, "percent";
    /// Lambda above which a shut plate means a fuel cut, 1.05 to 2.
    overrun_lambda_min = 1.3, 1.05 to 2.0, "";
    /// Seconds that readings stay refused after fuel returns, beyond delay and lag, 0 to 10.
    recovery_s = 1.2, 0.0 to 10.0, "s";
    /// Seconds refused after a gear change, the limiter or another cut under load, beyond delay and lag, 0 to 5.
    shift_s = 0.4, 0.0 to 5.0, "s";
    /// Where gear changes are not flagged: fall of engine speed within 0.2 s at an open plate that counts
    /// as one, percent, 2 to 100; 100 switches it off. Common practice is 8 % in 0.1 s.
    shift_rpm_drop_percent = 6.0, 2.0 to 100.0, "percent";
    /// Plate opening from which a very lean pulse means that fuel or spark was cut under load, percent, 5 to 100.
    cut_plate_percent_min = 30.0, 5.0 to 100.0, "percent";
    /// Lambda of such a pulse, 1.05 to 20. Common practice.
    cut_lambda_min = 1.3, 1.05 to 20.0, "";
    /// Speed at which the limiter cuts, rpm, up to 25 000; from 1 % below it readings are refused.
    /// 0: not known, the limiter goes by very lean pulses at the highest speed of the log.
    rev_limit_rpm = 0.0, 0.0 to 25_000.0, "rpm";
    /// Where secondary air is not logged: it flows at or below this speed, rpm, up to 25 000 ...; 0: nowhere.
    secondary_air_rpm_max = 0.0, 0.0 to 25_000.0, "rpm";
    /// ... with the plate at or below this, percent, 0 to 100.
    secondary_air_plate_percent_max = 0.0, 0.0 to 100.0, "percent";
    /// Seconds that readings stay refused after secondary air was shut off, beyond delay and lag, 0 to 30.
    secondary_air_after_s = 1.0, 0.0 to 30.0, "s";
    /// Closed-loop trims up to this, where logged, are too small to matter, percent, 0 to 25.
    closed_loop_trim_percent_max = 0.5, 0.0 to 25.0, "percent";
    /// Purge up to this is too little to matter, percent, 0 to 100; 100 switches the gate off.
    purge_percent_max = 1.0, 0.0 to 100.0, "percent";
    /// Coolant temperature from which the engine counts as warm, degrees Celsius, 0 to 120.
    coolant_c_min = 70.0, 0.0 to 120.0, "degrees C";
    /// Rise of the coolant above which the engine still warms up, in the first 15 degrees above
    /// `coolant_c_min`, degrees Celsius a minute, 0.5 to 1000.
    coolant_rise_c_per_min_max = 12.0, 0.5 to 1000.0, "degrees C a minute";
    /// Plate rate above which readings are refused until settled, percent a second, 0.5 to 1000.
    plate_rate_percent_per_s_max = 80.0, 0.5 to 1000.0, "percent a second";
    /// Seconds for which readings stay refused after such movement, 0 to 10; how long the wall film
    /// takes to settle is judged by `unsettled_share_max`.
    settle_s = 0.2, 0.0 to 10.0, "s";
    /// Share of the fuel flow that the wall film may still be owed, or owe, before readings are refused, 0.02 to 2.
    unsettled_share_max = 0.4, 0.02 to 2.0, "of the fuel flow";
    /// Change of engine speed above which readings are refused, rpm a second, up to 100 000; 0: any change
    /// is good, since footprints follow it. Holds alone are commonly kept to 300 to 500.
    rpm_rate_rpm_per_s_max = 0.0, 0.0 to 100_000.0, "rpm a second";
    /// Leanest end of the lambda sensor's range, 1.05 to 20.
    sensor_lambda_max = 1.8, 1.05 to 20.0, "";
    /// Richest end of the lambda sensor's range, 0.4 to 0.95.
    sensor_lambda_min = 0.65, 0.4 to 0.95, "";
    /// Seconds that a lambda sensor is not trusted after it became ready, 0 to 60. Common practice.
    sensor_settle_s = 2.0, 0.0 to 60.0, "s";
    /// Seconds for which a channel must hold one value, longer than it is used to, while others move,
    /// to count as stuck, 0.5 to 600.
    stuck_s = 3.0, 0.5 to 600.0, "s";
    /// A pause between rows that is longer than this is a gap, seconds, 0.01 to 60;
    /// a log that is slower throughout is judged by four of its own row intervals instead.
    gap_s_max = 0.5, 0.01 to 60.0, "s";
}

impl GateSettings {
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
