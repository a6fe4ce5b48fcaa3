//! Which column of a log is which quantity.

mod problems;

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

/// A quantity that a log can hold, each with the one unit that samples carry it in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Engine speed, revolutions a minute.
    EngineSpeed,
    /// Throttle plate opening, percent.
    PlateAngle,
    /// Air-fuel equivalence ratio lambda.
    Lambda,
    /// Coolant temperature, degrees Celsius.
    CoolantTemperature,
    /// Short-term closed-loop fuel trim, percent.
    ShortTermTrim,
    /// Long-term closed-loop fuel trim, percent.
    LongTermTrim,
    /// 1 while fuel is cut on the overrun, else 0.
    FuelCut,
    /// 1 while a gear is changed under load, else 0.
    ShiftCut,
    /// 1 while the lambda sensor is ready, else 0.
    SensorReady,
    /// Intake air temperature, degrees Celsius.
    IntakeTemperature,
    /// Intake manifold pressure, kilopascal absolute.
    ManifoldPressure,
    /// Ambient pressure, kilopascal absolute.
    AmbientPressure,
    /// Rider's grip opening, percent.
    GripAngle,
    /// 1 while limiter, launch or traction control cuts fuel or spark, else 0.
    TorqueCut,
    /// 1 while fresh air goes into the exhaust, else 0.
    SecondaryAir,
    /// 1 while the controller trims the mixture by its own lambda sensor, else 0.
    ClosedLoop,
    /// Opening of the valve that lets fuel vapour in from the canister, percent.
    Purge,
    /// Lambda by a second sensor of the same engine, as [`Self::Lambda`].
    #[serde(rename = "lambda_2")]
    Lambda2,
    /// Lambda by a third sensor.
    #[serde(rename = "lambda_3")]
    Lambda3,
    /// Lambda by a fourth sensor.
    #[serde(rename = "lambda_4")]
    Lambda4,
}

impl Quantity {
    /// Every quantity.
    pub const ALL: [Self; 20] = [
        Self::EngineSpeed,
        Self::PlateAngle,
        Self::Lambda,
        Self::CoolantTemperature,
        Self::ShortTermTrim,
        Self::LongTermTrim,
        Self::FuelCut,
        Self::ShiftCut,
        Self::SensorReady,
        Self::IntakeTemperature,
        Self::ManifoldPressure,
        Self::AmbientPressure,
        Self::GripAngle,
        Self::TorqueCut,
        Self::SecondaryAir,
        Self::ClosedLoop,
        Self::Purge,
        Self::Lambda2,
        Self::Lambda3,
        Self::Lambda4,
    ];

    /// Lambda by each sensor of an engine, the first one first.
    pub const LAMBDAS: [Self; 4] = [Self::Lambda, Self::Lambda2, Self::Lambda3, Self::Lambda4];

    /// Returns the name as channel maps and the wire write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::EngineSpeed => "engine_speed",
            Self::PlateAngle => "plate_angle",
            Self::Lambda => "lambda",
            Self::CoolantTemperature => "coolant_temperature",
            Self::ShortTermTrim => "short_term_trim",
            Self::LongTermTrim => "long_term_trim",
            Self::FuelCut => "fuel_cut",
            Self::ShiftCut => "shift_cut",
            Self::SensorReady => "sensor_ready",
            Self::IntakeTemperature => "intake_temperature",
            Self::ManifoldPressure => "manifold_pressure",
            Self::AmbientPressure => "ambient_pressure",
            Self::GripAngle => "grip_angle",
            Self::TorqueCut => "torque_cut",
            Self::SecondaryAir => "secondary_air",
            Self::ClosedLoop => "closed_loop",
            Self::Purge => "purge",
            Self::Lambda2 => "lambda_2",
            Self::Lambda3 => "lambda_3",
            Self::Lambda4 => "lambda_4",
        }
    }

    /// Returns the units that a column of this quantity may be in, that of samples first.
    pub fn units(self) -> &'static [Unit] {
        match self {
            Self::EngineSpeed => &[Unit::Rpm, Unit::RevPerS],
            Self::PlateAngle
            | Self::GripAngle
            | Self::ShortTermTrim
            | Self::LongTermTrim
            | Self::Purge => &[Unit::Percent, Unit::Ratio],
            Self::Lambda | Self::Lambda2 | Self::Lambda3 | Self::Lambda4 => {
                &[Unit::Lambda, Unit::Afr, Unit::EquivalenceRatio]
            }
            Self::CoolantTemperature | Self::IntakeTemperature => {
                &[Unit::Celsius, Unit::Fahrenheit, Unit::Kelvin]
            }
            Self::FuelCut
            | Self::ShiftCut
            | Self::SensorReady
            | Self::TorqueCut
            | Self::SecondaryAir
            | Self::ClosedLoop => &[Unit::Flag],
            Self::ManifoldPressure | Self::AmbientPressure => {
                &[Unit::Kpa, Unit::Mbar, Unit::Bar, Unit::Psi, Unit::InHg]
            }
        }
    }

    /// Returns the range that honest values lie in, in the quantity's unit; outside it a unit is wrong.
    pub fn believable(self) -> (f64, f64) {
        match self {
            Self::EngineSpeed => (0.0, 25_000.0),
            Self::PlateAngle | Self::GripAngle | Self::Purge => (-5.0, 110.0),
            Self::Lambda | Self::Lambda2 | Self::Lambda3 | Self::Lambda4 => (0.3, 40.0),
            Self::CoolantTemperature | Self::IntakeTemperature => (-60.0, 250.0),
            Self::ShortTermTrim | Self::LongTermTrim => (-100.0, 100.0),
            Self::FuelCut
            | Self::ShiftCut
            | Self::SensorReady
            | Self::TorqueCut
            | Self::SecondaryAir
            | Self::ClosedLoop => (0.0, 1.0),
            Self::ManifoldPressure => (0.0, 500.0),
            Self::AmbientPressure => (40.0, 120.0),
        }
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A unit that a log column may be in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Revolutions a minute.
    Rpm,
    /// Revolutions a second.
    RevPerS,
    /// Percent.
    Percent,
    /// A ratio of 1, for percentages and trims.
    Ratio,
    /// Lambda.
    Lambda,
    /// Air-fuel ratio by mass, read with the job's fuel.
    Afr,
    /// Fuel-air equivalence ratio, 1 / lambda.
    EquivalenceRatio,
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
    /// Kelvin.
    Kelvin,
    /// Kilopascal.
    Kpa,
    /// Millibar (hectopascal).
    Mbar,
    /// Bar.
    Bar,
    /// Pounds per square inch.
    Psi,
    /// Inches of mercury (conventional).
    #[serde(rename = "inhg")]
    InHg,
    /// 0 or 1, or off/on, false/true, no/yes.
    Flag,
    /// Seconds.
    S,
    /// Milliseconds.
    Ms,
    /// Microseconds.
    Us,
    /// Minutes.
    Min,
    /// Days and parts of them, as spreadsheets count.
    Day,
    /// Time of day or elapsed: `HH:MM:SS` or `MM:SS`, with decimals of the second or without.
    ClockTime,
    /// Date and time by ISO 8601, such as `2031-05-04T10:15:30.25Z`; a space will do for the `T`.
    Iso8601,
}

impl Unit {
    /// The units of time.
    pub const TIMES: [Self; 7] = [
        Self::S,
        Self::Ms,
        Self::Us,
        Self::Min,
        Self::Day,
        Self::ClockTime,
        Self::Iso8601,
    ];

    /// Returns the name as channel maps and the wire write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Rpm => "rpm",
            Self::RevPerS => "rev_per_s",
            Self::Percent => "percent",
            Self::Ratio => "ratio",
            Self::Lambda => "lambda",
            Self::Afr => "afr",
            Self::EquivalenceRatio => "equivalence_ratio",
            Self::Celsius => "celsius",
            Self::Fahrenheit => "fahrenheit",
            Self::Kelvin => "kelvin",
            Self::Kpa => "kpa",
            Self::Mbar => "mbar",
            Self::Bar => "bar",
            Self::Psi => "psi",
            Self::InHg => "inhg",
            Self::Flag => "flag",
            Self::S => "s",
            Self::Ms => "ms",
            Self::Us => "us",
            Self::Min => "min",
            Self::Day => "day",
            Self::ClockTime => "clock_time",
            Self::Iso8601 => "iso8601",
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// How one source column becomes one quantity: `(raw * scale + offset)`, or the line through
/// `points`, read in `unit`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Channel {
    /// Header of the source column, to the letter, save for spaces at its ends.
    pub column: String,
    /// Unit of the column once it is scaled.
    pub unit: Unit,
    /// Factor applied first.
    #[serde(default = "one")]
    pub scale: f64,
    /// Added after the factor, in `unit`.
    #[serde(default)]
    pub offset: f64,
    /// Two points of a straight line, each a raw value and what that is in `unit`, in place of
    /// scale and offset: for sensor volts, raw counts and degrees of plate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub points: Option<[[f64; 2]; 2]>,
    /// Raw values that mean 'no reading', finite.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub no_reading: Vec<f64>,
    /// Raw texts that mean 'no reading', such as `---` or `NaN`; letter case does not matter.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub no_reading_text: Vec<String>,
    /// Whether a log without the column is read all the same.
    #[serde(default, skip_serializing_if = "is_false")]
    pub optional: bool,
}

impl Channel {
    /// Returns a channel that takes `column` as it stands, in `unit`.
    pub fn new(column: impl Into<String>, unit: Unit) -> Self {
        Self {
            column: column.into(),
            unit,
            scale: 1.0,
            offset: 0.0,
            points: None,
            no_reading: Vec::new(),
            no_reading_text: Vec::new(),
            optional: false,
        }
    }

    /// Returns what `raw` is in the channel's unit.
    pub fn scaled(&self, raw: f64) -> f64 {
        match self.points {
            None => raw * self.scale + self.offset,
            Some([[raw_a, value_a], [raw_b, value_b]]) => {
                // Written so that both points come out to the bit.
                let share = (raw - raw_a) / (raw_b - raw_a);
                value_a * (1.0 - share) + value_b * share
            }
        }
    }
}

/// How the log tells time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TimeChannel {
    /// Header of the column; none when rows come at a steady `rate_hz`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub column: Option<String>,
    /// Unit of the column, one of [`Unit::TIMES`].
    #[serde(default = "seconds")]
    pub unit: Unit,
    /// Rows a second where there is no time column.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rate_hz: Option<f64>,
    /// What a time that is repeated from row to row means.
    #[serde(default)]
    pub repeated: RepeatedTime,
}

/// What a time that is repeated from row to row means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RepeatedTime {
    /// A fault of the log: it is refused.
    #[default]
    Refuse,
    /// The clock is coarser than the rows: they are spread evenly until the next tick.
    Spread,
}

/// What in the log speaks of fuel need.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EvidenceKind {
    /// Lambda against its target.
    #[default]
    Lambda,
    /// Closed-loop trims alone: the controller holds lambda on target, its trims are the need.
    Trims,
    /// Lambda against its target, with the closed-loop trims that were at work.
    LambdaAndTrims,
}

/// Which source column is which quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChannelMap {
    /// The clock.
    pub time: TimeChannel,
    /// The columns in use, by quantity.
    pub channels: BTreeMap<Quantity, Channel>,
    /// What speaks of fuel need.
    #[serde(default)]
    pub evidence: EvidenceKind,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde hands the field over by reference"
)]
fn is_false(flag: &bool) -> bool {
    !flag
}

fn one() -> f64 {
    1.0
}

fn seconds() -> Unit {
    Unit::S
}
