//! What is known of an engine before its first pull.

use serde::{Deserialize, Serialize};

use crate::field::{FieldError, check_range};

/// The facts of an engine that the exhaust's transport delay depends on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Engine {
    /// Strokes of a working cycle: 2 or 4.
    pub strokes: u8,
    /// Swept volume of all cylinders in cubic centimetres, 20 to 20 000.
    pub displacement_cc: f64,
    /// Number of cylinders, 1 to 16.
    pub cylinders: u8,
}

impl Engine {
    /// Returns what is wrong with these facts.
    pub fn problems(&self) -> Vec<FieldError> {
        let mut errors = Vec::new();
        if ![2, 4].contains(&self.strokes) {
            errors.push(FieldError::new(
                "engine.strokes",
                format!("{} is not a working cycle", self.strokes),
                "write 2 or 4",
            ));
        }
        check_range(
            &mut errors,
            "engine.displacement_cc",
            &[self.displacement_cc],
            (20.0, 20_000.0),
            "cc",
        );
        check_range(
            &mut errors,
            "engine.cylinders",
            &[f64::from(self.cylinders)],
            (1.0, 16.0),
            "",
        );
        errors
    }

    /// Returns the seconds of one working cycle at `rpm`.
    pub fn cycle_s(&self, rpm: f64) -> f64 {
        30.0 * f64::from(self.strokes) / rpm
    }
}

/// The fuel in the tank, as far as reading a lambda meter needs it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fuel {
    /// What the pump says, for example `petrol E5`.
    pub name: String,
    /// Air mass per fuel mass of complete combustion, 4 to 20; turns a logged AFR into lambda.
    pub stoichiometric_afr: f64,
}

impl Fuel {
    /// Returns what is wrong with these facts.
    pub fn problems(&self) -> Vec<FieldError> {
        let mut errors = Vec::new();
        check_range(
            &mut errors,
            "fuel.stoichiometric_afr",
            &[self.stoichiometric_afr],
            (4.0, 20.0),
            "kg/kg",
        );
        errors
    }
}

/// Molar mass of dry air over the share of oxygen in it, g of air per mol of oxygen: 28.9647 g/mol and 20.946 %
/// (U.S. Standard Atmosphere, 1976).
const AIR_G_PER_MOL_OXYGEN: f64 = 28.9647 / 0.20946;

/// Returns the mass of dry air that burns a mass of one of fuel completely, kg/kg, from hydrogen and oxygen atoms
/// per carbon atom.
///
/// CH(m)O(n) takes 1 + m/4 - n/2 molecules of oxygen (element balance); abridged standard atomic weights, IUPAC 2021.
pub fn stoichiometric_afr(hydrogen_per_carbon: f64, oxygen_per_carbon: f64) -> f64 {
    let oxygen = 1.0 + hydrogen_per_carbon / 4.0 - oxygen_per_carbon / 2.0;
    let fuel_g = 12.011 + 1.008 * hydrogen_per_carbon + 15.999 * oxygen_per_carbon;
    oxygen * AIR_G_PER_MOL_OXYGEN / fuel_g
}

#[cfg(test)]
mod tests {
    use super::stoichiometric_afr;

    /// If this fails, a log in AFR from a fuel given by its composition is read with a wrong lambda. Values: Heywood,
    /// *Internal Combustion Engine Fundamentals*, table D.4, from memory, to their last digit.
    #[test]
    fn pure_fuels_have_the_ratio_of_the_handbook() {
        for (name, hydrogen, oxygen, handbook, digit) in [
            ("methane", 4.0, 0.0, 17.23, 0.01),
            ("propane", 8.0 / 3.0, 0.0, 15.67, 0.01),
            ("isooctane", 18.0 / 8.0, 0.0, 15.13, 0.01),
            ("toluene", 8.0 / 7.0, 0.0, 13.50, 0.01),
            ("methanol", 4.0, 1.0, 6.47, 0.01),
            ("ethanol", 3.0, 0.5, 9.00, 0.01),
            ("gasoline", 1.87, 0.0, 14.6, 0.1),
        ] {
            let found = stoichiometric_afr(hydrogen, oxygen);
            assert!((found - handbook).abs() <= digit, "{name}: {found}");
        }
    }

    /// Dry exhaust gas, percent of volume.
    struct Gas {
        co2: f64,
        co: f64,
        o2: f64,
        /// Hydrocarbons as one carbon atom each.
        hc: f64,
    }

    /// Lambda of exhaust gas by Brettschneider (1979, Bosch Technische Berichte 6(4)), from memory; nitric oxide
    /// left out.
    fn brettschneider(gas: &Gas, h: f64, o: f64) -> f64 {
        let Gas { co2, co, o2, hc } = *gas;
        let balance = (h / 4.0 * 3.5 / (3.5 + co / co2) - o / 2.0) * (co2 + co);
        (co2 + co / 2.0 + o2 + balance) / ((1.0 + h / 4.0 - o / 2.0) * (co2 + co + hc))
    }

    /// Air-fuel ratio of exhaust gas by Spindt (1965, SAE 650507), as repeated in the literature; no oxygen in the
    /// fuel.
    fn spindt(gas: &Gas, h: f64) -> f64 {
        let Gas { co2, co, o2, hc } = *gas;
        let (ratio, excess) = (co / co2, o2 / co2);
        let burnt = (co + co2) / (co + co2 + hc);
        let carbon = 12.01 / (12.01 + 1.008 * h);
        let of_carbon = 11.492 * carbon * (1.0 + ratio / 2.0 + excess) / (1.0 + ratio);
        burnt * (of_carbon + 120.0 * (1.0 - carbon) / (3.5 + ratio))
    }

    /// If this fails, the ratio from composition and two published ways from the exhaust gas to the mixture disagree:
    /// Spindt's gives air over fuel, Brettschneider's lambda, so their quotient is the stoichiometric ratio. Gases of
    /// CH1.85 by element balance with a water-gas constant of 3.5, from lambda 0.75 to 1.2.
    #[test]
    fn exhaust_gas_equations_meet_the_ratio_from_composition() {
        let wanted = stoichiometric_afr(1.85, 0.0);
        for (lambda, co2, co, o2) in [
            (0.75, 9.045_574, 9.626_855, 0.0),
            (0.87, 12.116_828, 4.841_101, 0.0),
            (0.95, 14.122_99, 1.809_656, 0.0),
            (1.0, 15.338_035, 0.0, 0.0),
            (1.05, 14.558_473, 0.0, 1.064_588),
            (1.2, 12.632_343, 0.0, 3.694_96),
        ] {
            let gas = Gas {
                co2,
                co,
                o2,
                hc: 0.0,
            };
            let found = brettschneider(&gas, 1.85, 0.0);
            assert!((found - lambda).abs() < 2e-6, "{found} for {lambda}");
            let ratio = spindt(&gas, 1.85) / found / wanted;
            assert!((ratio - 1.0).abs() < 2e-3, "{ratio} at {lambda}");
        }
        // A gas with unburnt fuel, of an analyser that reports hexane: six carbon atoms a molecule.
        let gas = Gas {
            co2: 14.7,
            co: 0.15,
            o2: 0.6,
            hc: 6.0 * 100e-4,
        };
        let ratio = spindt(&gas, 1.85) / brettschneider(&gas, 1.85, 0.0) / wanted;
        assert!((ratio - 1.0).abs() < 3e-3, "{ratio}");
    }
}
