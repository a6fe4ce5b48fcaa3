//! Which column of a log is which quantity.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

use crate::field::FieldError;

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
}

impl Quantity {
    /// Every quantity.
    pub const ALL: [Self; 13] = [
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
    ];

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
        }
    }

    /// Returns the units that a column of this quantity may be in, that of samples first.
    pub fn units(self) -> &'static [Unit] {
        match self {
            Self::EngineSpeed => &[Unit::Rpm, Unit::RevPerS],
            Self::PlateAngle | Self::GripAngle | Self::ShortTermTrim | Self::LongTermTrim => {
                &[Unit::Percent, Unit::Ratio]
            }
            Self::Lambda => &[Unit::Lambda, Unit::Afr, Unit::EquivalenceRatio],
            Self::CoolantTemperature | Self::IntakeTemperature => {
                &[Unit::Celsius, Unit::Fahrenheit, Unit::Kelvin]
            }
            Self::FuelCut | Self::ShiftCut | Self::SensorReady => &[Unit::Flag],
            Self::ManifoldPressure | Self::AmbientPressure => &[Unit::Kpa, Unit::Mbar, Unit::Psi],
        }
    }

    /// Returns the range that honest values lie in, in the quantity's unit; outside it a unit is wrong.
    pub fn believable(self) -> (f64, f64) {
        match self {
            Self::EngineSpeed => (0.0, 25_000.0),
            Self::PlateAngle | Self::GripAngle => (-5.0, 110.0),
            Self::Lambda => (0.3, 40.0),
            Self::CoolantTemperature | Self::IntakeTemperature => (-60.0, 250.0),
            Self::ShortTermTrim | Self::LongTermTrim => (-100.0, 100.0),
            Self::FuelCut | Self::ShiftCut | Self::SensorReady => (0.0, 1.0),
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
    /// Pounds per square inch.
    Psi,
    /// 0 or 1, or off/on, false/true, no/yes.
    Flag,
    /// Seconds.
    S,
    /// Milliseconds.
    Ms,
}

impl Unit {
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
            Self::Psi => "psi",
            Self::Flag => "flag",
            Self::S => "s",
            Self::Ms => "ms",
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// How one source column becomes one quantity: `(raw * scale + offset)` read in `unit`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Channel {
    /// Header of the source column, to the letter, save for spaces at its ends.
    pub column: String,
    /// Unit of the scaled column.
    pub unit: Unit,
    /// Factor applied first.
    #[serde(default = "one")]
    pub scale: f64,
    /// Added after the factor, in `unit`.
    #[serde(default)]
    pub offset: f64,
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
            no_reading: Vec::new(),
            no_reading_text: Vec::new(),
            optional: false,
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
    /// Unit of the column, seconds or milliseconds.
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

impl ChannelMap {
    /// Returns what is wrong with this map; `field` is the path to it, empty at the top of a file.
    pub fn problems(&self, field: &str) -> Vec<FieldError> {
        let mut errors = Vec::new();
        let path = |rest: &str| match field {
            "" => rest.to_owned(),
            _ => format!("{field}.{rest}"),
        };
        self.time_problems(&path, &mut errors);
        for (quantity, channel) in &self.channels {
            channel.problems(
                *quantity,
                &path(&format!("channels.{quantity}")),
                &mut errors,
            );
        }
        self.evidence_problems(&path, &mut errors);
        errors
    }

    fn time_problems(&self, path: &dyn Fn(&str) -> String, errors: &mut Vec<FieldError>) {
        let time = &self.time;
        let mut add = |rest: &str, problem: String, remedy: &str| {
            errors.push(FieldError::new(path(rest), problem, remedy));
        };
        match (&time.column, time.rate_hz) {
            (None, None) => add(
                "time",
                "neither a column nor a rate is given".to_owned(),
                "name the time column, or write rate_hz for a log without one",
            ),
            (Some(_), Some(_)) => add(
                "time.rate_hz",
                "a column and a rate are both given".to_owned(),
                "keep the one that the log's time comes from",
            ),
            (Some(column), None) if column.trim().is_empty() => add(
                "time.column",
                "is empty".to_owned(),
                "write the header of the time column",
            ),
            (None, Some(rate_hz)) if !(0.1..=10_000.0).contains(&rate_hz) => add(
                "time.rate_hz",
                format!("{rate_hz} is outside 0.1 to 10000 rows a second"),
                "check the number and its unit",
            ),
            _ => {}
        }
        if !matches!(time.unit, Unit::S | Unit::Ms) {
            add(
                "time.unit",
                format!("{} is not a unit of time", time.unit),
                "write s or ms",
            );
        }
    }

    fn evidence_problems(&self, path: &dyn Fn(&str) -> String, errors: &mut Vec<FieldError>) {
        let mut needed = vec![Quantity::EngineSpeed, Quantity::PlateAngle];
        if self.evidence != EvidenceKind::Trims {
            needed.push(Quantity::Lambda);
        }
        for quantity in needed {
            match self.channels.get(&quantity) {
                None => errors.push(FieldError::new(
                    path(&format!("channels.{quantity}")),
                    "is missing, and nothing can be learned without it",
                    format!("add the section [channels.{quantity}] with column and unit"),
                )),
                Some(channel) if channel.optional => errors.push(FieldError::new(
                    path(&format!("channels.{quantity}.optional")),
                    "nothing can be learned without this channel",
                    "leave the line out",
                )),
                Some(_) => {}
            }
        }
        let trims = [Quantity::ShortTermTrim, Quantity::LongTermTrim];
        let has_trims = trims.iter().any(|trim| self.channels.contains_key(trim));
        if self.evidence != EvidenceKind::Lambda && !has_trims {
            errors.push(FieldError::new(
                path("evidence"),
                "speaks of trims, and neither trim is mapped",
                "add [channels.short_term_trim] or [channels.long_term_trim], or write lambda",
            ));
        }
    }
}

impl Channel {
    fn problems(&self, quantity: Quantity, path: &str, errors: &mut Vec<FieldError>) {
        let mut add = |rest: &str, problem: String, remedy: String| {
            errors.push(FieldError::new(format!("{path}.{rest}"), problem, remedy));
        };
        if self.column.trim().is_empty() {
            add(
                "column",
                "is empty".to_owned(),
                "write the header of the source column".to_owned(),
            );
        }
        if !quantity.units().contains(&self.unit) {
            let names: Vec<&str> = quantity.units().iter().map(|unit| unit.as_str()).collect();
            add(
                "unit",
                format!("{} is not a unit of {quantity}", self.unit),
                format!("write {}", names.join(" or ")),
            );
        }
        if !(self.scale.is_finite() && self.scale != 0.0) {
            add(
                "scale",
                format!("{} is not a usable factor", self.scale),
                "write a finite factor other than 0".to_owned(),
            );
        }
        if !self.offset.is_finite() {
            add(
                "offset",
                format!("{} is not a finite number", self.offset),
                "write a plain number".to_owned(),
            );
        }
        if let Some(index) = self.no_reading.iter().position(|value| !value.is_finite()) {
            add(
                &format!("no_reading[{index}]"),
                format!("{} is not a finite number", self.no_reading[index]),
                "list it as text under no_reading_text".to_owned(),
            );
        }
    }
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
