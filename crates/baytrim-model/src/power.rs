//! Power of a pull at the roller, and the air that the engine drew in.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::field::{FieldError, check_range};

/// A standard of power correction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub enum PowerStandard {
    /// SAE J1349, edition of June 1990.
    #[serde(rename = "sae_j1349")]
    SaeJ1349,
    /// ISO 1585 (UN R85).
    #[default]
    #[serde(rename = "iso_1585")]
    Iso1585,
    /// DIN 70020 in its old form.
    #[serde(rename = "din_70020")]
    Din70020,
}

impl PowerStandard {
    /// Every standard.
    pub const ALL: [Self; 3] = [Self::SaeJ1349, Self::Iso1585, Self::Din70020];

    /// Returns the name as job files and the wire write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::SaeJ1349 => "sae_j1349",
            Self::Iso1585 => "iso_1585",
            Self::Din70020 => "din_70020",
        }
    }
}

impl fmt::Display for PowerStandard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// How a job states power.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PowerSettings {
    /// The standard of air that power is corrected to.
    pub standard: PowerStandard,
    /// Width of the band of engine speeds that each point of a curve averages, rpm, 20 to 1000. One for all bays: only
    /// curves of one band compare.
    pub band_rpm: f64,
}

impl Default for PowerSettings {
    fn default() -> Self {
        Self {
            standard: PowerStandard::default(),
            band_rpm: 250.0,
        }
    }
}

impl PowerSettings {
    /// Returns whether these are the settings of a job that says nothing of power.
    #[must_use]
    pub fn is_default(&self) -> bool {
        *self == Self::default()
    }

    /// Returns what is wrong with the settings.
    pub fn problems(&self) -> Vec<FieldError> {
        let mut errors = Vec::new();
        let range = (20.0, 1000.0);
        check_range(
            &mut errors,
            "power.band_rpm",
            &[self.band_rpm],
            range,
            "rpm",
        );
        errors
    }
}

/// The roller of a bay.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Roller {
    /// Moment of inertia of all that turns with the roller, 0.01 to 10 000 kg m2; power comes from it where a log has
    /// no roller torque.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inertia_kg_m2: Option<f64>,
    /// Window of the straight lines that smooth speed and torque, 0.05 to 2 s.
    pub window_s: f64,
}

impl Default for Roller {
    fn default() -> Self {
        Self {
            inertia_kg_m2: None,
            window_s: 0.3,
        }
    }
}

impl Roller {
    /// Returns what is wrong with the roller; `field` is the path to it.
    pub fn problems(&self, field: &str) -> Vec<FieldError> {
        let mut errors = Vec::new();
        let mut check = |name: &str, values: &[f64], range: (f64, f64), unit: &str| {
            check_range(&mut errors, &format!("{field}.{name}"), values, range, unit);
        };
        let inertia: Vec<f64> = self.inertia_kg_m2.into_iter().collect();
        check("inertia_kg_m2", &inertia, (0.01, 10_000.0), "kg m2");
        check("window_s", &[self.window_s], (0.05, 2.0), "s");
        errors
    }
}

/// The bay's air as somebody read it from an instrument, where the log does not hold it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Conditions {
    /// Station pressure, not reduced to sea level, 50 to 110 kPa.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pressure_kpa: Option<f64>,
    /// Temperature, -30 to 60 degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Relative humidity, 0 to 100 percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub humidity_percent: Option<f64>,
}

impl Conditions {
    /// Returns whether nothing was given.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Returns what is wrong with the readings; `field` is the path to them.
    pub fn problems(&self, field: &str) -> Vec<FieldError> {
        let mut errors = Vec::new();
        for (name, value, range, unit) in [
            ("pressure_kpa", self.pressure_kpa, (50.0, 110.0), "kPa"),
            (
                "temperature_c",
                self.temperature_c,
                (-30.0, 60.0),
                "degrees C",
            ),
            (
                "humidity_percent",
                self.humidity_percent,
                (0.0, 100.0),
                "percent",
            ),
        ] {
            let values: Vec<f64> = value.into_iter().collect();
            check_range(
                &mut errors,
                &format!("{field}.{name}"),
                &values,
                range,
                unit,
            );
        }
        errors
    }
}

/// Who told a reading of the air.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AirSource {
    /// The log holds it.
    Logged,
    /// Somebody gave it with the log.
    Given,
    /// The log's intake temperature stands in for that of the bay: an airbox runs warmer, and power comes out high.
    Intake,
}

/// One property of the air over a pull.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AirReading {
    /// Its mean.
    pub mean: f64,
    /// How far it rose from the first fifth of the readings to the last; 0 where given.
    pub change: f64,
    /// Who told it.
    pub source: AirSource,
}

/// The air that a pull was measured in.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PullAir {
    /// Station pressure, kilopascal; none where nobody told it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pressure_kpa: Option<AirReading>,
    /// Temperature, degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<AirReading>,
    /// Relative humidity, percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub humidity_percent: Option<AirReading>,
    /// Density, kg/m3; of air half saturated where the humidity is not known, none without pressure or temperature.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub density_kg_m3: Option<f64>,
}

/// What the power of a pull was worked out from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PowerSource {
    /// Roller torque times roller speed.
    Torque,
    /// What it takes to speed the roller's inertia up.
    Inertia,
}

/// Power and torque at one engine speed, uncorrected.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PowerPoint {
    /// Engine speed, a whole multiple of the band, rpm.
    pub engine_speed_rpm: f64,
    /// Power at the roller as measured, kilowatt.
    pub power_kw: f64,
    /// Its standard error by the scatter of the readings, kilowatt; errors of the roller's own numbers are no part
    /// of it.
    pub power_error_kw: f64,
    /// Torque at the engine's speed as measured, Nm.
    pub torque_nm: f64,
    /// Rows that it was averaged from.
    pub row_count: u64,
}

/// What measured power is multiplied by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PowerCorrection {
    /// By which standard.
    pub standard: PowerStandard,
    /// The factor, on power and torque alike.
    pub factor: f64,
    /// The factor of dry and of saturated air, where the humidity is not known and half of it was taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub factor_range: Option<(f64, f64)>,
    /// All that puts the day outside of the standard, each a sentence; empty where the standard holds.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub outside: Vec<String>,
}

/// What a pull's roller says of power.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PullPower {
    /// What the power was worked out from; none where it could not be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<PowerSource>,
    /// The curve, slowest first; empty where there is none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub points: Vec<PowerPoint>,
    /// Width of the band of speeds that each point averages, rpm.
    pub band_rpm: f64,
    /// Window of the lines that smoothed it, seconds.
    pub window_s: f64,
    /// Highest frequency that the smoothing leaves at half power, Hz.
    pub bandwidth_hz: f64,
    /// Rows left out because the plate was not wide open.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub part_load_count: u64,
    /// What turns it into power at standard air; none where pressure or temperature of the bay are not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub correction: Option<PowerCorrection>,
    /// Why there is no curve or no correction, and what to do; empty where all is well.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<String>,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde hands the field over by reference"
)]
fn is_zero(count: &u64) -> bool {
    *count == 0
}

impl PullPower {
    /// Returns that of a log without a roller.
    pub fn none() -> Self {
        Self {
            source: None,
            points: Vec::new(),
            band_rpm: 0.0,
            window_s: 0.0,
            bandwidth_hz: 0.0,
            part_load_count: 0,
            correction: None,
            remarks: Vec::new(),
        }
    }

    /// Returns the points of most power and of most torque, the same whether corrected or not.
    pub fn peaks(&self) -> Option<(PowerPoint, PowerPoint)> {
        let points = || self.points.iter().copied();
        let power = points().max_by(|a, b| a.power_kw.total_cmp(&b.power_kw))?;
        let torque = points().max_by(|a, b| a.torque_nm.total_cmp(&b.torque_nm))?;
        Some((power, torque))
    }

    /// Returns the factor of the correction, none without one.
    pub fn factor(&self) -> Option<f64> {
        self.correction.as_ref().map(|correction| correction.factor)
    }

    /// Returns the corrected power and torque of a point, kilowatt and Nm; none without a correction.
    pub fn corrected(&self, point: &PowerPoint) -> Option<(f64, f64)> {
        let factor = self.factor()?;
        Some((point.power_kw * factor, point.torque_nm * factor))
    }
}
