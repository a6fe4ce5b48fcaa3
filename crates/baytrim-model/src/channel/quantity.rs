//! Quantities of logs.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::Unit;

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
    /// Speed of the dyno's roller, revolutions a minute.
    RollerSpeed,
    /// Torque at the roller, newton metres; driving is positive.
    RollerTorque,
    /// Relative humidity of the bay's air, percent.
    RelativeHumidity,
    /// Temperature of the bay's air, degrees Celsius; that in the airbox is [`Self::IntakeTemperature`].
    AmbientTemperature,
}

impl Quantity {
    /// Every quantity.
    pub const ALL: [Self; 24] = [
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
        Self::RollerSpeed,
        Self::RollerTorque,
        Self::RelativeHumidity,
        Self::AmbientTemperature,
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
            Self::RollerSpeed => "roller_speed",
            Self::RollerTorque => "roller_torque",
            Self::RelativeHumidity => "relative_humidity",
            Self::AmbientTemperature => "ambient_temperature",
        }
    }

    /// Returns the units that a column of this quantity may be in, that of samples first.
    pub fn units(self) -> &'static [Unit] {
        match self {
            Self::EngineSpeed => &[Unit::Rpm, Unit::RevPerS],
            Self::RollerSpeed => &[Unit::Rpm, Unit::RevPerS, Unit::RadPerS],
            Self::RollerTorque => &[Unit::Nm, Unit::LbfFt],
            Self::PlateAngle
            | Self::GripAngle
            | Self::ShortTermTrim
            | Self::LongTermTrim
            | Self::Purge
            | Self::RelativeHumidity => &[Unit::Percent, Unit::Ratio],
            Self::Lambda | Self::Lambda2 | Self::Lambda3 | Self::Lambda4 => {
                &[Unit::Lambda, Unit::Afr, Unit::EquivalenceRatio]
            }
            Self::CoolantTemperature | Self::IntakeTemperature | Self::AmbientTemperature => {
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
            // A pick-up that shakes on a standing roller counts backwards for a row.
            Self::RollerSpeed => (-100.0, 15_000.0),
            Self::RollerTorque => (-20_000.0, 20_000.0),
            Self::RelativeHumidity => (-2.0, 110.0),
            Self::AmbientTemperature => (-60.0, 90.0),
        }
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}
