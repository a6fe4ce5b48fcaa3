//! The named rules that refuse a sample.

mod settings;

use std::fmt;

use serde::{Deserialize, Serialize};

pub use self::settings::{GateParameter, GateSettings};

/// A rule that refuses samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum GateName {
    /// No lambda, rpm or plate reading in the row.
    NoReading,
    /// The clock stood still, ran backwards or told no time.
    Clock,
    /// The clock paused for longer than rows are apart.
    Gap,
    /// Fuel was cut on the overrun.
    OverrunCut,
    /// Fuel came back after a cut, and the walls are still filling.
    Recovery,
    /// A gear was changed under load.
    ShiftCut,
    /// The limiter cut fuel or spark at the highest speed.
    RevLimiter,
    /// Fuel or spark was cut under load by something else: launch or traction control.
    TorqueCut,
    /// Fresh air was blown or drawn into the exhaust.
    SecondaryAir,
    /// A closed loop trimmed the fuel and its trims do not count, or trims count and no loop was closed.
    ClosedLoop,
    /// Fuel vapour was drawn in from the canister.
    Purge,
    /// The engine is not warm, or still warms quickly.
    WarmUp,
    /// The plate moved, and the wall film has not settled.
    PlateRate,
    /// Engine speed was not steady.
    RpmRate,
    /// A channel stands still or drops out while the others go on.
    ChannelFault,
    /// The lambda sensor is at the end of its range.
    SensorStop,
    /// The lambda sensor is heating up, or was a moment ago.
    SensorNotReady,
    /// The operating point is outside the table.
    OutOfTable,
    /// The reading's exhaust was made, in part, while another rule refused.
    Footprint,
}

impl GateName {
    /// Every gate, in the order in which a sample is charged to the first that refuses it.
    pub const ALL: [Self; 19] = [
        Self::NoReading,
        Self::Clock,
        Self::Gap,
        Self::ChannelFault,
        Self::OverrunCut,
        Self::Recovery,
        Self::ShiftCut,
        Self::RevLimiter,
        Self::TorqueCut,
        Self::SensorNotReady,
        Self::SensorStop,
        Self::SecondaryAir,
        Self::ClosedLoop,
        Self::Purge,
        Self::WarmUp,
        Self::OutOfTable,
        Self::PlateRate,
        Self::RpmRate,
        Self::Footprint,
    ];

    /// Returns the name as files, wire and command line write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::NoReading => "no_reading",
            Self::Clock => "clock",
            Self::Gap => "gap",
            Self::OverrunCut => "overrun_cut",
            Self::Recovery => "recovery",
            Self::ShiftCut => "shift_cut",
            Self::RevLimiter => "rev_limiter",
            Self::TorqueCut => "torque_cut",
            Self::SecondaryAir => "secondary_air",
            Self::ClosedLoop => "closed_loop",
            Self::Purge => "purge",
            Self::WarmUp => "warm_up",
            Self::PlateRate => "plate_rate",
            Self::RpmRate => "rpm_rate",
            Self::ChannelFault => "channel_fault",
            Self::SensorStop => "sensor_stop",
            Self::SensorNotReady => "sensor_not_ready",
            Self::OutOfTable => "out_of_table",
            Self::Footprint => "footprint",
        }
    }

    /// Returns the sentence that a tuner reads.
    pub fn sentence(self) -> &'static str {
        match self {
            Self::NoReading => "a value was missing in the row, or the engine stood",
            Self::Clock => "the log's clock stood still or ran backwards",
            Self::Gap => "the log has a gap here",
            Self::OverrunCut => "fuel was cut on the overrun",
            Self::Recovery => "fuel had just come back after a cut",
            Self::ShiftCut => "a gear was being changed",
            Self::RevLimiter => "the rev limiter was cutting in",
            Self::TorqueCut => {
                "fuel or spark was cut under load, as launch and traction control do"
            }
            Self::SecondaryAir => "fresh air went into the exhaust",
            Self::ClosedLoop => {
                "the controller trimmed the mixture itself and its trims are not counted, \
                 or its trims are all that counts and it did not trim"
            }
            Self::Purge => "the engine was drawing fuel vapour from the canister",
            Self::WarmUp => "the engine was not warm, or was still warming up quickly",
            Self::RpmRate => "the engine speed was not steady",
            Self::ChannelFault => "a channel stood still or dropped out while the others went on",
            Self::PlateRate => "the plate was moving, or the wall film had not settled since",
            Self::SensorStop => "the lambda sensor was at the end of its range",
            Self::SensorNotReady => {
                "the lambda sensor was heating up, or had only just begun to read"
            }
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

#[cfg(test)]
mod tests {
    use super::GateName;

    /// A gate that is missing from the list would be charged to none and panic or vanish in a tally.
    #[test]
    fn every_gate_has_a_name_and_a_sentence_of_its_own() {
        for (index, gate) in GateName::ALL.iter().enumerate() {
            let json = serde_json::to_string(gate).expect("serialises");
            assert_eq!(json, format!("\"{gate}\""));
            for other in &GateName::ALL[..index] {
                assert_ne!(gate.sentence(), other.sentence());
            }
        }
    }
}
