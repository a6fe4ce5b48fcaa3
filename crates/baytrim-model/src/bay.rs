//! A dyno cell: its channel map and its delay.

use serde::{Deserialize, Serialize};

use crate::channel::ChannelMap;
use crate::field::{FieldError, check_range};
use crate::power::Roller;

/// Transport delay and lag between the cylinder and a lambda reading.
///
/// A parcel of exhaust made at engine speed n arrives after `cycles` working cycles plus
/// `gas_volume_l` divided by the exhaust volume flow, and the sensor follows with a first-order lag.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DelayModel {
    /// Working cycles from induction to exhaust, 0 to 4.
    pub cycles: f64,
    /// Gas volume from the valve to the sensor in litres, 0 to 20.
    pub gas_volume_l: f64,
    /// First-order time constant of the sensor and its meter in seconds, 0 to 2.
    pub lag_s: f64,
}

impl DelayModel {
    /// Returns what is wrong with this delay; `field` is the path to it.
    pub fn problems(&self, field: &str) -> Vec<FieldError> {
        let mut errors = Vec::new();
        let mut check = |name: &str, value: f64, range: (f64, f64), unit: &str| {
            check_range(
                &mut errors,
                &format!("{field}.{name}"),
                &[value],
                range,
                unit,
            );
        };
        check("cycles", self.cycles, (0.0, 4.0), "working cycles");
        check("gas_volume_l", self.gas_volume_l, (0.0, 20.0), "litres");
        check("lag_s", self.lag_s, (0.0, 2.0), "s");
        errors
    }
}

/// A delay with what it is known to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DelayBelief {
    /// The delay.
    pub model: DelayModel,
    /// Standard errors of its three numbers, each in its unit.
    pub standard_error: DelayModel,
}

/// Where a bay's delay comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DelayChoice {
    /// From each pull itself, leaning on physics where the pull cannot tell.
    Identify,
    /// From each pull itself, leaning on what earlier pulls in the bay told. No job file says so: the daemon does,
    /// where it knows.
    Expect(DelayBelief),
    /// As given.
    Given(DelayModel),
}

/// What a job knows of one bay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BaySetup {
    /// Where the delay comes from.
    pub delay: DelayChoice,
    /// The bay's channel map; none when its logs carry the standard column names.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channels: Option<ChannelMap>,
    /// The bay's roller; none where the job says nothing of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub roller: Option<Roller>,
}

impl Default for BaySetup {
    fn default() -> Self {
        Self {
            delay: DelayChoice::Identify,
            channels: None,
            roller: None,
        }
    }
}
