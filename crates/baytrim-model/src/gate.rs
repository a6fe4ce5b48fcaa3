//! The named rules that refuse a sample.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::field::{FieldError, check_range};

/// A rule that refuses samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum GateName {
    /// No lambda, rpm or plate reading in the row.
    NoReading,
    /// The clock jumped or stood still around the row.
    Gap,
    /// Fuel was cut on the overrun.
    OverrunCut,
    /// Fuel came back after a cut, and the walls are still filling.
    Recovery,
    /// A gear was changed under load.
    ShiftCut,
    /// The engine is not warm.
    WarmUp,
    /// The plate moved, and the wall film has not settled.
    PlateRate,
    /// The lambda sensor is at the end of its range.
    SensorStop,
    /// The lambda sensor is not ready.
    SensorNotReady,
    /// The operating point is outside the table.
    OutOfTable,
    /// The reading's exhaust was made, in part, while another rule refused.
    Footprint,
}

impl GateName {
    /// Every gate, in the order in which a sample is charged to the first that refuses it.
    pub const ALL: [Self; 11] = [
        Self::NoReading,
        Self::Gap,
        Self::OverrunCut,
        Self::Recovery,
        Self::ShiftCut,
        Self::SensorNotReady,
        Self::SensorStop,
        Self::WarmUp,
        Self::OutOfTable,
        Self::PlateRate,
        Self::Footprint,
    ];

    /// Returns the name as files, wire and command line write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::NoReading => "no_reading",
            Self::Gap => "gap",
            Self::OverrunCut => "overrun_cut",
            Self::Recovery => "recovery",
            Self::ShiftCut => "shift_cut",
            Self::WarmUp => "warm_up",
            Self::PlateRate => "plate_rate",
            Self::SensorStop => "sensor_stop",
            Self::SensorNotReady => "sensor_not_ready",
            Self::OutOfTable => "out_of_table",
            Self::Footprint => "footprint",
        }
    }

    /// Returns the sentence that a tuner reads.
    pub fn sentence(self) -> &'static str {
        match self {
            Self::NoReading => "a value was missing in the row",
            Self::Gap => "the log has a gap here",
            Self::OverrunCut => "fuel was cut on the overrun",
            Self::Recovery => "fuel had just come back after a cut",
            Self::ShiftCut => "a gear was being changed",
            Self::WarmUp => "the engine was not warm",
            Self::PlateRate => "the plate was moving, or the wall film had not settled since",
            Self::SensorStop => "the lambda sensor was at the end of its range",
            Self::SensorNotReady => "the lambda sensor was not ready",
            Self::OutOfTable => "the engine ran outside the table's axes",
            Self::Footprint => "the exhaust being read was made while another rule refused",
        }
    }
}

impl fmt::Display for GateName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// The parameters of the gates of a job. A gate without its channel in the log does nothing,
/// save the overrun gate, which then goes by behaviour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct GateSettings {
    /// Plate opening at or below which an overrun fuel cut is possible, percent, 0 to 20.
    pub overrun_plate_percent_max: f64,
    /// Lambda above which a shut plate means a fuel cut, 1.05 to 2.
    pub overrun_lambda_min: f64,
    /// Seconds that readings stay refused after fuel returns, beyond delay and lag, 0 to 10.
    pub recovery_s: f64,
    /// Coolant temperature from which the engine counts as warm, degrees Celsius, 0 to 120.
    pub coolant_c_min: f64,
    /// Plate rate above which readings are refused until settled, percent a second, 0.5 to 1000.
    pub plate_rate_percent_per_s_max: f64,
    /// Seconds for which readings stay refused after such movement, 0 to 10; how long the wall film
    /// takes to settle is judged by `unsettled_share_max`.
    pub settle_s: f64,
    /// Share of the fuel flow that the wall film may still be owed, or owe, before readings are refused, 0.02 to 2.
    pub unsettled_share_max: f64,
    /// Leanest end of the lambda sensor's range, 1.05 to 20.
    pub sensor_lambda_max: f64,
    /// Richest end of the lambda sensor's range, 0.4 to 0.95.
    pub sensor_lambda_min: f64,
    /// A pause between rows that is longer than this is a gap, seconds, 0.01 to 60;
    /// a log that is slower throughout is judged by four of its own row intervals instead.
    pub gap_s_max: f64,
    /// Seconds refused around a flagged shift, beyond delay and lag, 0 to 5.
    pub shift_s: f64,
}

impl Default for GateSettings {
    fn default() -> Self {
        Self {
            overrun_plate_percent_max: 2.0,
            overrun_lambda_min: 1.3,
            recovery_s: 1.2,
            coolant_c_min: 70.0,
            plate_rate_percent_per_s_max: 80.0,
            settle_s: 0.2,
            unsettled_share_max: 0.4,
            sensor_lambda_max: 1.8,
            sensor_lambda_min: 0.65,
            gap_s_max: 0.5,
            shift_s: 0.4,
        }
    }
}

impl GateSettings {
    /// Returns what is wrong with these settings.
    pub fn problems(&self) -> Vec<FieldError> {
        let mut errors = Vec::new();
        let mut check = |field: &str, value: f64, range: (f64, f64), unit: &str| {
            check_range(
                &mut errors,
                &format!("gates.{field}"),
                &[value],
                range,
                unit,
            );
        };
        check(
            "overrun_plate_percent_max",
            self.overrun_plate_percent_max,
            (0.0, 20.0),
            "percent",
        );
        check(
            "overrun_lambda_min",
            self.overrun_lambda_min,
            (1.05, 2.0),
            "",
        );
        check("recovery_s", self.recovery_s, (0.0, 10.0), "s");
        check(
            "coolant_c_min",
            self.coolant_c_min,
            (0.0, 120.0),
            "degrees C",
        );
        check(
            "plate_rate_percent_per_s_max",
            self.plate_rate_percent_per_s_max,
            (0.5, 1000.0),
            "percent a second",
        );
        check("settle_s", self.settle_s, (0.0, 10.0), "s");
        check(
            "unsettled_share_max",
            self.unsettled_share_max,
            (0.02, 2.0),
            "of the fuel flow",
        );
        check(
            "sensor_lambda_max",
            self.sensor_lambda_max,
            (1.05, 20.0),
            "",
        );
        check("sensor_lambda_min", self.sensor_lambda_min, (0.4, 0.95), "");
        check("gap_s_max", self.gap_s_max, (0.01, 60.0), "s");
        check("shift_s", self.shift_s, (0.0, 5.0), "s");
        errors
    }
}
