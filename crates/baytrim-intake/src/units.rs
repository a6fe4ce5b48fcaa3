//! From the unit of a column to that of samples.

use baytrim_model::channel::{Quantity, Unit};
use baytrim_model::engine::Fuel;

/// Kilopascal in a pound-force per square inch: 4.448 221 615 260 5 N over (0.0254 m)^2, both exact
/// by definition (NIST Special Publication 811, appendix B).
const KPA_PER_PSI: f64 = 6.894_757_293_168_361;

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
        Unit::Psi => value * KPA_PER_PSI,
        Unit::Rpm
        | Unit::Percent
        | Unit::Lambda
        | Unit::Celsius
        | Unit::Kpa
        | Unit::Flag
        | Unit::S
        | Unit::Ms => {
            debug_assert!(quantity.units().contains(&unit), "the map was checked");
            value
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wrong factor shifts every reading of a shop that logs in that unit.
    ///
    /// Fixed points: water boils at 212 F, freezes at 273.15 K and 32 F (by the scales' definition);
    /// the standard atmosphere is 1013.25 mbar (ISO 2533) and 14.696 psi (NIST SP 811, rounded).
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
        ];
        for (quantity, unit, value, expected) in cases {
            let converted = convert(quantity, unit, value, &fuel);
            assert!(
                (converted - expected).abs() < 1e-9,
                "{value} {unit} gave {converted}"
            );
        }
        let atmosphere = convert(Quantity::AmbientPressure, Unit::Psi, 14.696, &fuel);
        assert!(
            (atmosphere - 101.325).abs() < 0.001,
            "14.696 psi gave {atmosphere}"
        );
    }
}
