//! What a vehicle does beside its table: the cut on the overrun, secondary air; as the record has it, and as logs show.

use serde::{Deserialize, Serialize};

use crate::field::FieldError;

/// Whether fuel is cut on the overrun.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OverrunCut {
    /// It is.
    On,
    /// It is not: the cut was taken out.
    Off,
    /// It is above an engine speed only.
    AboveRpm,
}

impl OverrunCut {
    /// Returns the name as job files and the wire write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::On => "on",
            Self::Off => "off",
            Self::AboveRpm => "above_rpm",
        }
    }
}

/// What the record says of the cut on the overrun.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecordedOverrun {
    /// Whether fuel is cut.
    pub cut: OverrunCut,
    /// The engine speed of [`OverrunCut::AboveRpm`], 1000 to 25 000 rpm; none with the others.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rpm: Option<f64>,
}

impl RecordedOverrun {
    /// Returns what is wrong with it; `field` is the path to it.
    pub fn problems(&self, field: &str) -> Vec<FieldError> {
        let complaint = match (self.cut, self.rpm) {
            (OverrunCut::AboveRpm, None) => Some((
                "is missing".to_owned(),
                "give the engine speed above which fuel is cut",
            )),
            (OverrunCut::AboveRpm, Some(rpm)) if !(1_000.0..=25_000.0).contains(&rpm) => Some((
                format!("{rpm} is outside 1000 to 25000 rpm"),
                "check the number and its unit",
            )),
            (OverrunCut::On | OverrunCut::Off, Some(_)) => Some((
                format!("is given for a cut that is {}", self.cut.as_str()),
                "leave it out, or write cut = \"above_rpm\"",
            )),
            _ => None,
        };
        complaint
            .map(|(problem, remedy)| FieldError::new(format!("{field}.rpm"), problem, remedy))
            .into_iter()
            .collect()
    }
}

/// Whether fresh air goes into the exhaust.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SecondaryAir {
    /// None is fitted.
    None,
    /// It is fitted and works.
    Active,
    /// It is fitted and blanked off.
    Blocked,
}

impl SecondaryAir {
    /// Returns the name as job files and the wire write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Active => "active",
            Self::Blocked => "blocked",
        }
    }
}

/// What the record says of secondary air.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecordedAir {
    /// Whether it is there.
    pub state: SecondaryAir,
}

/// What the record says of a vehicle; none where it says nothing.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VehicleRecord {
    /// Of the cut on the overrun.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub overrun: Option<RecordedOverrun>,
    /// Of secondary air.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub secondary_air: Option<RecordedAir>,
}

impl VehicleRecord {
    /// Returns whether nothing is said.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Returns what is wrong with it; `field` is the path to the cut on the overrun.
    pub fn problems(&self, field: &str) -> Vec<FieldError> {
        let overrun = self.overrun.iter();
        overrun
            .flat_map(|overrun| overrun.problems(field))
            .collect()
    }
}

/// What a log shows of the cut on the overrun.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "cut", rename_all = "snake_case", deny_unknown_fields)]
pub enum FoundCut {
    /// Fuel is cut, and comes back between two engine speeds; none where the log never goes there.
    On {
        /// Fastest with fuel and slowest without, rpm.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        resumes_rpm: Option<(f64, f64)>,
    },
    /// Fuel is cut only above an engine speed between the two, rpm.
    AboveRpm {
        /// Fastest with fuel and slowest without.
        between_rpm: (f64, f64),
    },
    /// Fuel flows at every engine speed that the log has.
    Off,
    /// The log has no overrun that tells.
    NotSeen,
    /// Cut and fuel go together with no engine speed.
    Unclear,
}

/// What a log shows of secondary air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "state", rename_all = "snake_case")]
pub enum FoundAir {
    /// Air goes into the exhaust.
    Active,
    /// The valve is driven, and no air comes.
    DrivenWithoutAir,
    /// Fuel flows on the overrun, and no air is beside it.
    NotActive,
    /// The log does not tell.
    NotSeen,
}

/// How a vehicle behaved in a pull, beside what the record said of it then.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PullBehaviour {
    /// What the record said.
    #[serde(default, skip_serializing_if = "VehicleRecord::is_empty")]
    pub recorded: VehicleRecord,
    /// The cut on the overrun, as the log shows it.
    pub overrun: FoundCut,
    /// Secondary air, as the log shows it.
    pub secondary_air: FoundAir,
}
