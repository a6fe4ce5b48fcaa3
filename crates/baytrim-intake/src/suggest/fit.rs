//! Whether the numbers of a column can be a quantity, and in which unit.

use baytrim_model::channel::{Quantity, Unit};

use super::behaviour::Behaviour;
use super::table::RawColumn;
use super::unit_text::StatedUnit;

/// How the numbers of a column become a quantity.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Reading {
    /// The unit.
    pub unit: Unit,
    /// Added to the column, in `unit`.
    pub offset: f64,
    /// Two points of a line, for volts and degrees.
    pub points: Option<[[f64; 2]; 2]>,
    /// How far the numbers support it, 0 to 1.
    pub support: f64,
    /// What is still to be said by someone who knows.
    pub doubt: Option<String>,
}

impl Reading {
    fn plain(unit: Unit, support: f64) -> Self {
        Self {
            unit,
            offset: 0.0,
            points: None,
            support,
            doubt: None,
        }
    }

    fn doubted(mut self, support: f64, doubt: String) -> Self {
        self.support = support;
        self.doubt = Some(doubt);
        self
    }
}

/// The range that the middle 98 percent of a column's numbers lie in where it is the quantity in the
/// unit, and the range of its median. What engines do; common practice.
type Usual = (Quantity, Unit, [f64; 2], [f64; 2]);

const USUAL: [Usual; 37] = [
    (
        Quantity::EngineSpeed,
        Unit::Rpm,
        [-50.0, 25_000.0],
        [300.0, 18_000.0],
    ),
    (
        Quantity::EngineSpeed,
        Unit::RevPerS,
        [-1.0, 420.0],
        [8.0, 300.0],
    ),
    (
        Quantity::PlateAngle,
        Unit::Percent,
        [-5.0, 105.0],
        [1.0, 100.0],
    ),
    (Quantity::PlateAngle, Unit::Ratio, [-0.05, 1.05], [0.0, 1.0]),
    (
        Quantity::GripAngle,
        Unit::Percent,
        [-5.0, 105.0],
        [0.0, 100.0],
    ),
    (Quantity::GripAngle, Unit::Ratio, [-0.05, 1.05], [0.0, 1.0]),
    (Quantity::Lambda, Unit::Lambda, [0.3, 16.0], [0.6, 2.0]),
    (Quantity::Lambda, Unit::Afr, [4.0, 230.0], [5.5, 25.0]),
    (
        Quantity::Lambda,
        Unit::EquivalenceRatio,
        [0.0, 2.0],
        [0.5, 1.6],
    ),
    (
        Quantity::CoolantTemperature,
        Unit::Celsius,
        [-40.0, 135.0],
        [-20.0, 125.0],
    ),
    (
        Quantity::CoolantTemperature,
        Unit::Fahrenheit,
        [-40.0, 275.0],
        [126.0, 255.0],
    ),
    (
        Quantity::CoolantTemperature,
        Unit::Kelvin,
        [233.0, 408.0],
        [256.0, 398.0],
    ),
    (
        Quantity::IntakeTemperature,
        Unit::Celsius,
        [-40.0, 120.0],
        [-30.0, 90.0],
    ),
    (
        Quantity::IntakeTemperature,
        Unit::Fahrenheit,
        [-40.0, 250.0],
        [91.0, 200.0],
    ),
    (
        Quantity::IntakeTemperature,
        Unit::Kelvin,
        [233.0, 393.0],
        [243.0, 363.0],
    ),
    (
        Quantity::ManifoldPressure,
        Unit::Kpa,
        [4.0, 400.0],
        [25.0, 300.0],
    ),
    (
        Quantity::ManifoldPressure,
        Unit::Mbar,
        [100.0, 4000.0],
        [250.0, 3000.0],
    ),
    (
        Quantity::ManifoldPressure,
        Unit::Bar,
        [0.08, 4.5],
        [0.2, 3.0],
    ),
    (
        Quantity::ManifoldPressure,
        Unit::Psi,
        [1.0, 60.0],
        [3.0, 24.9],
    ),
    (
        Quantity::AmbientPressure,
        Unit::Kpa,
        [60.0, 110.0],
        [65.0, 108.0],
    ),
    (
        Quantity::AmbientPressure,
        Unit::Mbar,
        [600.0, 1100.0],
        [650.0, 1080.0],
    ),
    (
        Quantity::AmbientPressure,
        Unit::Bar,
        [0.6, 1.1],
        [0.65, 1.08],
    ),
    (
        Quantity::AmbientPressure,
        Unit::Psi,
        [8.7, 16.0],
        [9.4, 15.7],
    ),
    (
        Quantity::AmbientPressure,
        Unit::InHg,
        [17.7, 32.5],
        [19.2, 31.9],
    ),
    (
        Quantity::ManifoldPressure,
        Unit::InHg,
        [2.0, 120.0],
        [7.0, 90.0],
    ),
    (Quantity::Purge, Unit::Percent, [-1.0, 101.0], [0.0, 100.0]),
    (Quantity::Purge, Unit::Ratio, [-0.01, 1.01], [0.0, 1.0]),
    (
        Quantity::RollerSpeed,
        Unit::Rpm,
        [-100.0, 6000.0],
        [20.0, 4000.0],
    ),
    (
        Quantity::RollerSpeed,
        Unit::RevPerS,
        [-2.0, 100.0],
        [0.3, 70.0],
    ),
    (
        Quantity::RollerSpeed,
        Unit::RadPerS,
        [-10.0, 630.0],
        [2.0, 420.0],
    ),
    (
        Quantity::RollerTorque,
        Unit::Nm,
        [-5000.0, 10_000.0],
        [-2000.0, 6000.0],
    ),
    (
        Quantity::RollerTorque,
        Unit::LbfFt,
        [-3700.0, 7400.0],
        [-1500.0, 4500.0],
    ),
    (
        Quantity::RelativeHumidity,
        Unit::Percent,
        [1.5, 105.0],
        [5.0, 100.0],
    ),
    (
        Quantity::RelativeHumidity,
        Unit::Ratio,
        [0.0, 1.05],
        [0.05, 1.0],
    ),
    (
        Quantity::AmbientTemperature,
        Unit::Celsius,
        [-30.0, 50.0],
        [-20.0, 45.0],
    ),
    (
        Quantity::AmbientTemperature,
        Unit::Fahrenheit,
        [-22.0, 122.0],
        [46.0, 113.0],
    ),
    (
        Quantity::AmbientTemperature,
        Unit::Kelvin,
        [243.0, 323.0],
        [253.0, 318.0],
    ),
];

/// Returns how the numbers of `column` are `quantity`, none where they cannot be.
pub(super) fn read_as(
    quantity: Quantity,
    column: &RawColumn,
    behaviour: &Behaviour,
    stated: Option<StatedUnit>,
) -> Option<Reading> {
    let is_flag = quantity.units() == [Unit::Flag];
    if column.notation.is_some()
        || (!is_flag && stated.is_some_and(|stated| stated.excludes(quantity)))
    {
        return None;
    }
    match quantity {
        _ if is_flag => flag(quantity, column, behaviour),
        Quantity::ShortTermTrim | Quantity::LongTermTrim => trim(behaviour, stated),
        Quantity::PlateAngle | Quantity::GripAngle
            if matches!(stated, Some(StatedUnit::Volts | StatedUnit::Degrees)) =>
        {
            travel(behaviour, stated)
        }
        Quantity::Lambda if stated == Some(StatedUnit::Volts) => None,
        Quantity::ManifoldPressure if behaviour.low < 0.0 => gauge(behaviour, stated),
        _ => in_usual_range(quantity, behaviour, stated),
    }
}

/// An event that lasts the whole log is none: the column is that of a switch.
fn flag(quantity: Quantity, column: &RawColumn, behaviour: &Behaviour) -> Option<Reading> {
    let is_state = matches!(quantity, Quantity::SensorReady | Quantity::ClosedLoop);
    let is_switch = behaviour.is_constant() && behaviour.low > 0.0 && !is_state;
    let support = if behaviour.is_constant() { 0.5 } else { 1.0 };
    (behaviour.is_flag(column) && !is_switch).then(|| Reading::plain(Unit::Flag, support))
}

fn in_usual_range(
    quantity: Quantity,
    behaviour: &Behaviour,
    stated: Option<StatedUnit>,
) -> Option<Reading> {
    let ends = [behaviour.percent_1, behaviour.percent_99];
    let stated = stated.and_then(|stated| stated.of(quantity));
    let of_quantity = USUAL.iter().filter(|(of, _, _, _)| *of == quantity);
    let fits = |range: &[f64; 2], value: f64| (range[0]..=range[1]).contains(&value);
    let found: Vec<Unit> = of_quantity
        .filter(|(_, _, range, median)| {
            fits(range, ends[0]) && fits(range, ends[1]) && fits(median, behaviour.median)
        })
        .map(|(_, unit, _, _)| *unit)
        .collect();
    match stated {
        Some(unit) if found.contains(&unit) => Some(Reading::plain(unit, 1.0)),
        // The unit that is stated goes before what is usual, if only just.
        Some(unit) => {
            let values = format!("{:.4} to {:.4}", behaviour.low, behaviour.high);
            Some(Reading::plain(unit, 0.25).doubted(
                0.25,
                format!("the log states {unit}, and readings of {values} are unusual for it"),
            ))
        }
        None => {
            let unit = best_unit(quantity, behaviour, &found)?;
            let support = if found.len() == 1 { 0.9 } else { 0.7 };
            Some(Reading::plain(unit, support))
        }
    }
}

fn best_unit(quantity: Quantity, behaviour: &Behaviour, found: &[Unit]) -> Option<Unit> {
    let is_wide = behaviour.high > 1.05;
    match quantity {
        // Both fit when the plate never opens by more than one percent, which is rarely a log.
        Quantity::PlateAngle | Quantity::GripAngle if found.contains(&Unit::Ratio) && !is_wide => {
            Some(Unit::Ratio)
        }
        // A valve that opens all the way, or none that opens at all, tells nothing of its unit.
        Quantity::Purge if found.contains(&Unit::Ratio) && !is_wide && behaviour.high > 0.0 => {
            Some(Unit::Ratio)
        }
        // Overrun drives lambda up and its inverse to nothing.
        Quantity::Lambda if found.contains(&Unit::EquivalenceRatio) && behaviour.low < 0.3 => {
            Some(Unit::EquivalenceRatio)
        }
        // Standing, an engine's manifold is at ambient pressure: 14.7 psi, 29.9 inHg, 101 kPa.
        Quantity::ManifoldPressure if found.contains(&Unit::Psi) && behaviour.high <= 26.0 => {
            Some(Unit::Psi)
        }
        Quantity::ManifoldPressure if found.contains(&Unit::InHg) && behaviour.high <= 36.0 => {
            Some(Unit::InHg)
        }
        _ => found.first().copied(),
    }
}

fn trim(behaviour: &Behaviour, stated: Option<StatedUnit>) -> Option<Reading> {
    let (low, high) = (behaviour.low, behaviour.high);
    let is_factor = low >= 0.5 && high <= 1.6 && (0.7..=1.3).contains(&behaviour.median);
    let is_ratio = low >= -0.5 && high <= 0.5 && !behaviour.is_constant();
    let states_percent = stated == Some(StatedUnit::Known(Unit::Percent));
    if !states_percent && is_factor {
        let mut reading = Reading::plain(Unit::Ratio, 0.8);
        reading.offset = -1.0;
        return Some(reading);
    }
    if !states_percent && is_ratio {
        return Some(Reading::plain(Unit::Ratio, 0.6));
    }
    let is_percent = low >= -100.0 && high <= 100.0;
    let support = if behaviour.is_constant() { 0.4 } else { 1.0 };
    is_percent.then(|| Reading::plain(Unit::Percent, support))
}

/// A pressure that falls below nothing counts from that of the air around.
fn gauge(behaviour: &Behaviour, stated: Option<StatedUnit>) -> Option<Reading> {
    // The standard atmosphere, ISO 2533, in each unit.
    let (unit, atmosphere) = match stated {
        Some(StatedUnit::Known(Unit::Mbar)) => (Unit::Mbar, 1013.25),
        Some(StatedUnit::Known(Unit::Bar)) => (Unit::Bar, 1.013_25),
        Some(StatedUnit::Known(Unit::Psi)) => (Unit::Psi, 14.696),
        Some(StatedUnit::Known(Unit::InHg)) => (Unit::InHg, 29.921),
        Some(StatedUnit::Known(Unit::Kpa)) => (Unit::Kpa, 101.325),
        _ => return None,
    };
    if behaviour.low < -atmosphere {
        return None;
    }
    let mut reading = Reading::plain(unit, 0.5);
    reading.offset = atmosphere;
    let doubt = format!(
        "it counts from the pressure of the air around; {atmosphere} {unit}, the standard atmosphere, stands in for that of the day"
    );
    Some(reading.doubted(0.5, doubt))
}

/// Volts or degrees: the ends of the log's own range stand in for those of the plate's travel.
fn travel(behaviour: &Behaviour, stated: Option<StatedUnit>) -> Option<Reading> {
    let (what, range) = match stated {
        Some(StatedUnit::Volts) => ("volts", 0.0..=5.5),
        _ => ("degrees", -10.0..=120.0),
    };
    let (low, high) = (behaviour.low, behaviour.high);
    if !range.contains(&low) || !range.contains(&high) || behaviour.is_constant() {
        return None;
    }
    let mut reading = Reading::plain(Unit::Percent, 0.5);
    reading.points = Some([[low, 0.0], [high, 100.0]]);
    let doubt = format!(
        "the {what} at which it is shut and wide open: {low} and {high}, the lowest and highest of the log, stand in for them, which is right only if it was shut and wide open at some time"
    );
    Some(reading.doubted(0.3, doubt))
}
