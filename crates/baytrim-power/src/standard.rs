//! What the power of a day is at the air of a standard.
//!
//! For naturally aspirated engines with spark ignition, at full load only. Nothing here may touch lambda
//! or the correction of fuel.

use crate::air::AmbientAir;

/// A standard of power correction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Standard {
    /// SAE J1349, edition of June 1990: 99 kPa dry, 25 degrees Celsius, 85 % mechanical efficiency.
    SaeJ1349,
    /// ISO 1585 (UN R85): 99 kPa dry, 25 degrees Celsius.
    Iso1585,
    /// DIN 70020 in its old form: 1013 mbar with its vapour, 20 degrees Celsius.
    Din70020,
}

/// Why a factor lies outside what its standard covers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OutOfValidity {
    /// The air is colder or warmer.
    Temperature {
        /// Degrees Celsius.
        found_c: f64,
        /// The standard's range.
        range_c: (f64, f64),
    },
    /// The dry pressure is lower or higher.
    DryPressure {
        /// Kilopascal.
        found_kpa: f64,
        /// The standard's range.
        range_kpa: (f64, f64),
    },
    /// The factor itself goes too far.
    Factor {
        /// The factor.
        found: f64,
        /// The standard's range.
        range: (f64, f64),
    },
}

/// What measured power is multiplied by.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// By which standard.
    pub standard: Standard,
    /// The factor, by which power and torque are multiplied.
    pub factor: f64,
    /// Everything that puts it outside of the standard; empty where it holds.
    pub out_of_validity: Vec<OutOfValidity>,
}

impl Correction {
    /// Returns whether the standard covers the day.
    pub fn is_valid(&self) -> bool {
        self.out_of_validity.is_empty()
    }
}

impl Standard {
    /// Every standard.
    pub const ALL: [Self; 3] = [Self::SaeJ1349, Self::Iso1585, Self::Din70020];

    /// Returns the name that is printed beside every figure.
    pub fn name(self) -> &'static str {
        match self {
            Self::SaeJ1349 => "SAE J1349 (1990)",
            Self::Iso1585 => "ISO 1585",
            Self::Din70020 => "DIN 70020 (old)",
        }
    }

    /// Returns the factor, whether or not the standard covers such air.
    ///
    /// Kelvin are counted from 273, as the standards print it.
    fn factor(self, air: &AmbientAir) -> f64 {
        let kelvin = air.temperature_c() + 273.0;
        let dry_ratio = 99.0 / air.dry_pressure_kpa();
        match self {
            Self::SaeJ1349 => 1.180 * dry_ratio * (kelvin / 298.0).sqrt() - 0.18,
            Self::Iso1585 => dry_ratio.powf(1.2) * (kelvin / 298.0).powf(0.6),
            Self::Din70020 => 101.3 / air.pressure_kpa() * (kelvin / 293.0).sqrt(),
        }
    }

    /// Temperatures covered, degrees Celsius: J1349 from memory (later editions); ISO 1585 as
    /// Regulation (EU) 134/2014, appendix 2.2, has it: 283.2 to 318.2 K.
    fn temperature_range_c(self) -> Option<(f64, f64)> {
        match self {
            Self::SaeJ1349 => Some((15.0, 35.0)),
            Self::Iso1585 => Some((10.0, 45.0)),
            Self::Din70020 => None,
        }
    }

    /// Dry pressures covered, kilopascal: J1349 from memory (later editions).
    fn dry_pressure_range_kpa(self) -> Option<(f64, f64)> {
        (self == Self::SaeJ1349).then_some((90.0, 105.0))
    }

    /// Factors covered: ISO 1585 (from memory). For the other two it is common practice.
    fn factor_range() -> (f64, f64) {
        (0.93, 1.07)
    }
}

/// Returns the factor that turns power measured in `air` at full load into that of `standard`, flagged
/// where the standard does not cover such air.
pub fn correct(standard: Standard, air: &AmbientAir) -> Correction {
    let factor = standard.factor(air);
    let is_out = |value: f64, (low, high): (f64, f64)| !(low..=high).contains(&value);
    let temperature = standard
        .temperature_range_c()
        .filter(|range| is_out(air.temperature_c(), *range))
        .map(|range_c| OutOfValidity::Temperature {
            found_c: air.temperature_c(),
            range_c,
        });
    let pressure = standard
        .dry_pressure_range_kpa()
        .filter(|range| is_out(air.dry_pressure_kpa(), *range))
        .map(|range_kpa| OutOfValidity::DryPressure {
            found_kpa: air.dry_pressure_kpa(),
            range_kpa,
        });
    let range = Standard::factor_range();
    let too_far = is_out(factor, range).then_some(OutOfValidity::Factor {
        found: factor,
        range,
    });
    Correction {
        standard,
        factor,
        out_of_validity: [temperature, pressure, too_far]
            .into_iter()
            .flatten()
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn factors(pressure_kpa: f64, temperature_c: f64, humidity: f64) -> [Correction; 3] {
        let air = AmbientAir::new(pressure_kpa, temperature_c, humidity).unwrap();
        Standard::ALL.map(|standard| correct(standard, &air))
    }

    /// If this fails, every corrected figure of a shop is wrong.
    ///
    /// The formulas as published, worked out apart from this code in Python for five days.
    #[test]
    fn factors_are_those_worked_out_apart() {
        for (temperature_c, pressure_kpa, humidity, expected) in [
            (20.0, 101.3, 0.0, [0.96349, 0.96299, 1.00000]),
            (30.0, 98.0, 0.6, [1.05407, 1.05524, 1.05116]),
            (35.0, 95.0, 0.4, [1.10048, 1.10304, 1.09327]),
            (10.0, 102.0, 0.5, [0.94286, 0.94217, 0.97604]),
            (28.0, 84.5, 0.25, [1.22515, 1.23313, 1.21507]),
        ] {
            let found = factors(pressure_kpa, temperature_c, humidity);
            for (correction, expected) in found.iter().zip(expected) {
                assert!(
                    (correction.factor - expected).abs() < 6e-6,
                    "{correction:?} {expected}"
                );
            }
        }
    }

    /// If this fails, the reference air of a standard is not its reference any more: by definition each
    /// factor is 1 there.
    #[test]
    fn the_reference_air_needs_no_correction() {
        let dry = factors(99.0, 25.0, 0.0);
        assert!((dry[0].factor - 1.0).abs() < 1e-12 && (dry[1].factor - 1.0).abs() < 1e-12);
        assert!((factors(101.3, 20.0, 0.7)[2].factor - 1.0).abs() < 1e-12);
    }

    /// If this fails, the square root of temperature or the pressure ratio of the SAE form has changed.
    ///
    /// A printed workshop table of (990/p)(T/298)^0.5: the same two terms, without efficiency.
    #[test]
    fn the_terms_agree_with_a_printed_table() {
        for (pressure_kpa, temperature_c, expected) in [
            (104.0, 0.0, 0.9111),
            (104.0, 25.0, 0.9519),
            (100.0, 25.0, 0.9900),
            (99.0, 0.0, 0.9571),
            (101.0, 40.0, 1.0046),
            (102.0, 35.0, 0.9867),
            (101.5, 0.0, 0.9336),
            (99.5, 50.0, 1.0359),
        ] {
            let found = factors(pressure_kpa, temperature_c, 0.0)[0].factor;
            let term = (found + 0.18) / 1.18;
            assert!((term - expected).abs() < 6e-5, "{term} {expected}");
        }
    }

    /// If this fails, a hot day on a mountain passes for a fair comparison.
    #[test]
    fn days_outside_a_standard_are_flagged() {
        assert!(factors(100.0, 25.0, 0.3).iter().all(Correction::is_valid));
        let [sae, iso, din] = factors(84.5, 28.0, 0.25);
        assert!(matches!(
            sae.out_of_validity[..],
            [
                OutOfValidity::DryPressure { .. },
                OutOfValidity::Factor { .. }
            ]
        ));
        assert!(matches!(
            iso.out_of_validity[..],
            [OutOfValidity::Factor { .. }]
        ));
        assert!(!din.is_valid());
        let [sae, iso, _] = factors(101.0, 12.0, 0.5);
        assert!(matches!(
            sae.out_of_validity[..],
            [OutOfValidity::Temperature { .. }]
        ));
        assert!(iso.is_valid());
    }
}
