//! From the unit of a column to that of samples.

use baytrim_model::channel::{Quantity, Unit};
use baytrim_model::engine::Fuel;

// Seven factors, each exact by definition or published; why not a crate of units: docs/decisions/0014.

/// Kilopascal in a pound-force per square inch: 4.448 221 615 260 5 N over (0.0254 m)^2, both exact
/// by definition (NIST Special Publication 811, appendix B.8: 6.894 757 kPa).
const KPA_PER_PSI: f64 = 6.894_757_293_168_361;

/// Kilopascal in a conventional inch of mercury: 13 595.1 kg/m3 by 9.806 65 m/s2 by 0.0254 m
/// (NIST Special Publication 811, appendix B.8: 3.386 389 kPa).
const KPA_PER_INHG: f64 = 3.386_388_640_341;

/// Kilopascal in a bar, exact (NIST Special Publication 811, appendix B.8).
const KPA_PER_BAR: f64 = 100.0;

/// Newton metres in a pound-force foot: 4.448 221 615 260 5 N by 0.3048 m, both exact by definition (NIST
/// Special Publication 811, appendix B.8: 1.355 818 N m).
const NM_PER_LBF_FT: f64 = 1.355_817_948_331_400_4;

/// Returns `value`, which is in `unit`, in the unit that samples carry the quantity in; not finite
/// where that does not exist.
pub(crate) fn convert(quantity: Quantity, unit: Unit, value: f64, fuel: &Fuel) -> f64 {
    match unit {
        Unit::RevPerS => value * 60.0,
        Unit::Ratio => value * 100.0,
        Unit::Afr => value / fuel.stoichiometric_afr,
        Unit::EquivalenceRatio => 1.0 / value,
        Unit::Fahrenheit => (value - 32.0) / 1.8,
        Unit::Kelvin => value - 273.15,
        Unit::Mbar => value / 10.0,
        Unit::Bar => value * KPA_PER_BAR,
        Unit::Psi => value * KPA_PER_PSI,
        Unit::InHg => value * KPA_PER_INHG,
        Unit::RadPerS => value * 60.0 / std::f64::consts::TAU,
        Unit::LbfFt => value * NM_PER_LBF_FT,
        Unit::Rpm
        | Unit::Percent
        | Unit::Lambda
        | Unit::Celsius
        | Unit::Kpa
        | Unit::Nm
        | Unit::Flag
        | Unit::S
        | Unit::Ms
        | Unit::Us
        | Unit::Min
        | Unit::Day
        | Unit::ClockTime
        | Unit::Iso8601 => {
            debug_assert!(quantity.units().contains(&unit), "the map was checked");
            value
        }
    }
}

/// Returns the seconds in one of `unit`; 1 for notations that are read as seconds.
///
/// Minutes and days are exact (NIST Special Publication 811, table 6).
pub(crate) fn seconds_per(unit: Unit) -> f64 {
    match unit {
        Unit::Us => 1e-6,
        Unit::Ms => 1e-3,
        Unit::Min => 60.0,
        Unit::Day => 86_400.0,
        _ => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wrong factor shifts every reading of a shop that logs in that unit.
    ///
    /// Fixed points: water boils at 212 F, freezes at 273.15 K and 32 F (by the scales' definition);
    /// the standard atmosphere is 1013.25 mbar (ISO 2533), 14.696 psi and 29.9213 inHg (both as handbooks round them), and
    /// the factors as NIST Special Publication 811, appendix B.8, rounds them.
    #[test]
    fn units_meet_at_their_fixed_points() {
        let fuel = Fuel {
            name: "test".to_owned(),
            stoichiometric_afr: 14.7,
        };
        let cases = [
            (Quantity::EngineSpeed, Unit::RevPerS, 50.0, 3000.0),
            (Quantity::PlateAngle, Unit::Ratio, 0.25, 25.0),
            (Quantity::ShortTermTrim, Unit::Ratio, -0.05, -5.0),
            (Quantity::Lambda, Unit::Afr, 14.7, 1.0),
            (Quantity::Lambda, Unit::EquivalenceRatio, 1.25, 0.8),
            (Quantity::CoolantTemperature, Unit::Fahrenheit, 212.0, 100.0),
            (Quantity::CoolantTemperature, Unit::Fahrenheit, 32.0, 0.0),
            (Quantity::IntakeTemperature, Unit::Kelvin, 273.15, 0.0),
            (Quantity::AmbientPressure, Unit::Mbar, 1013.25, 101.325),
            (
                Quantity::RollerSpeed,
                Unit::RadPerS,
                std::f64::consts::PI,
                30.0,
            ),
            (Quantity::RelativeHumidity, Unit::Ratio, 0.5, 50.0),
        ];
        for (quantity, unit, value, expected) in cases {
            let converted = convert(quantity, unit, value, &fuel);
            assert!(
                (converted - expected).abs() < 1e-9,
                "{value} {unit} gave {converted}"
            );
        }
        let published = [
            (Unit::Psi, 14.696, 101.325, 0.001),
            (Unit::Psi, 1.0, 6.894_757, 5e-7),
            (Unit::InHg, 1.0, 3.386_389, 5e-7),
            (Unit::InHg, 29.9213, 101.325, 0.0005),
            (Unit::Bar, 1.013_25, 101.325, 1e-9),
        ];
        for (unit, value, expected, tolerance) in published {
            let converted = convert(Quantity::AmbientPressure, unit, value, &fuel);
            assert!(
                (converted - expected).abs() < tolerance,
                "{value} {unit} gave {converted}"
            );
        }
    }

    /// If this fails, a factor of ours differs from that of a library of units which shares nothing
    /// with it: pint 0.25.3, by `tests/oracles/write_units.py`.
    #[test]
    fn units_agree_with_an_independent_library() {
        let fuel = Fuel {
            name: "test".to_owned(),
            stoichiometric_afr: 14.7,
        };
        let mut units = std::collections::BTreeSet::new();
        for row in include_str!("../tests/files/units.csv").lines().skip(1) {
            let mut cells = row.split(',');
            let name = cells.next().expect("a unit");
            let [value, expected] = [(); 2].map(|()| {
                cells
                    .next()
                    .expect("a cell")
                    .parse::<f64>()
                    .expect("a number")
            });
            let quantities = Quantity::ALL.iter();
            let of = quantities
                .flat_map(|quantity| quantity.units().iter().map(move |unit| (*quantity, *unit)))
                .find(|(_, unit)| unit.to_string() == name);
            let converted = match of {
                Some((quantity, unit)) => convert(quantity, unit, value, &fuel),
                None => value * seconds_per(time_unit(name)),
            };
            // Their temperatures come by way of kelvin and lose a few digits there.
            let tolerance = 2e-13 * expected.abs().max(300.0);
            assert!(
                (converted - expected).abs() < tolerance,
                "{row}: {converted}"
            );
            units.insert(name);
        }
        assert_eq!(units.len(), 14, "{units:?}");
    }

    fn time_unit(name: &str) -> Unit {
        let units = [Unit::S, Unit::Ms, Unit::Us, Unit::Min, Unit::Day];
        let found = units.into_iter().find(|unit| unit.to_string() == name);
        found.unwrap_or_else(|| panic!("{name} is no unit of columns"))
    }
}
