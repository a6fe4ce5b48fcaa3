//! The air that an engine was measured in.

/// Kelvin at 0 degrees Celsius, by the scale's definition.
const KELVIN_AT_0_C: f64 = 273.15;

/// Gas constants of dry air and of water vapour, J/(kg K) (CODATA molar constant over 28.9647 and
/// 18.0153 kg/kmol).
const DRY_AIR_J_PER_KG_K: f64 = 287.058;
const VAPOUR_J_PER_KG_K: f64 = 461.495;

/// Readings outside are those of a wrong unit or a broken sensor: pressure in kilopascal ...
const PRESSURE_KPA: (f64, f64) = (50.0, 110.0);
/// ... and temperature in degrees Celsius.
const TEMPERATURE_C: (f64, f64) = (-30.0, 60.0);

/// The air that an engine drew in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AmbientAir {
    pressure_kpa: f64,
    temperature_c: f64,
    relative_humidity: f64,
}

/// Why a reading of the air was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AirError {
    /// It cannot be the pressure of a bay.
    #[error(
        "an ambient pressure of {0} kPa is outside 50 to 110 kPa; give the station pressure of the bay in kPa, not one reduced to sea level"
    )]
    Pressure(f64),
    /// It cannot be the temperature of intake air.
    #[error("an intake air temperature of {0} C is outside -30 to 60 C; check its unit")]
    Temperature(f64),
    /// It is no relative humidity.
    #[error("a relative humidity of {0} is outside 0 to 1; divide percent by 100")]
    Humidity(f64),
}

impl AmbientAir {
    /// Returns air of a total pressure in kilopascal, a temperature in degrees Celsius and a relative
    /// humidity from 0 to 1.
    ///
    /// # Errors
    /// Where a reading cannot be one of a bay.
    pub fn new(
        pressure_kpa: f64,
        temperature_c: f64,
        relative_humidity: f64,
    ) -> Result<Self, AirError> {
        let is_in = |value: f64, (low, high): (f64, f64)| (low..=high).contains(&value);
        if !is_in(pressure_kpa, PRESSURE_KPA) {
            return Err(AirError::Pressure(pressure_kpa));
        }
        if !is_in(temperature_c, TEMPERATURE_C) {
            return Err(AirError::Temperature(temperature_c));
        }
        if !is_in(relative_humidity, (0.0, 1.0)) {
            return Err(AirError::Humidity(relative_humidity));
        }
        Ok(Self {
            pressure_kpa,
            temperature_c,
            relative_humidity,
        })
    }

    /// Returns the total pressure, kilopascal.
    pub fn pressure_kpa(&self) -> f64 {
        self.pressure_kpa
    }

    /// Returns the temperature, degrees Celsius.
    pub fn temperature_c(&self) -> f64 {
        self.temperature_c
    }

    /// Returns the pressure of the water vapour in it, kilopascal.
    pub fn vapour_pressure_kpa(&self) -> f64 {
        self.relative_humidity * saturation_pressure_kpa(self.temperature_c)
    }

    /// Returns the pressure of the air without its vapour, kilopascal.
    pub fn dry_pressure_kpa(&self) -> f64 {
        self.pressure_kpa - self.vapour_pressure_kpa()
    }

    /// Returns the density as that of two ideal gases, kg/m3; the real gas is 0.05 % denser.
    pub fn density_kg_m3(&self) -> f64 {
        let kelvin = self.temperature_c + KELVIN_AT_0_C;
        1000.0
            * (self.dry_pressure_kpa() / (DRY_AIR_J_PER_KG_K * kelvin)
                + self.vapour_pressure_kpa() / (VAPOUR_J_PER_KG_K * kelvin))
    }
}

/// Returns the pressure of saturated water vapour over water, kilopascal, at `temperature_c`.
///
/// Buck, A. L., J. Appl. Meteorol. 20 (1981) 1527, with the coefficients of his 1996 revision;
/// within 0.1 % of IAPWS-IF97 from 0 to 50 degrees Celsius.
pub fn saturation_pressure_kpa(temperature_c: f64) -> f64 {
    let t = temperature_c;
    0.61121 * ((18.678 - t / 234.5) * t / (257.14 + t)).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, dry pressure is wrong on every damp day.
    ///
    /// IAPWS-IF97 region 4, and the formula of 40 CFR 86.344-79 (Wexler and Greenspan) at 20 and
    /// 25 degrees, both worked out apart from this code.
    #[test]
    fn vapour_pressure_agrees_with_the_steam_tables() {
        let steam_tables = [
            (5.0, 0.87257),
            (10.0, 1.22818),
            (15.0, 1.70574),
            (20.0, 2.33921),
            (30.0, 4.24669),
            (40.0, 7.38443),
            (50.0, 12.35127),
        ];
        let regulation = [(20.0, 2.338_34), (25.0, 3.168_62)];
        for (temperature_c, expected) in steam_tables.into_iter().chain(regulation) {
            let found = saturation_pressure_kpa(temperature_c);
            assert!(
                (found / expected - 1.0).abs() < 6e-4,
                "{temperature_c} C gave {found}"
            );
        }
    }

    /// If this fails, the density of damp air is off: CIPM-2007, worked out apart from this code.
    #[test]
    fn density_agrees_with_cipm_2007() {
        for (pressure_kpa, temperature_c, humidity, expected) in [
            (101.325, 20.0, 0.5, 1.19931),
            (101.325, 15.0, 0.0, 1.22552),
            (100.0, 25.0, 0.5, 1.16182),
            (99.0, 30.0, 0.7, 1.12511),
            (95.0, 35.0, 0.4, 1.06463),
        ] {
            let air = AmbientAir::new(pressure_kpa, temperature_c, humidity).unwrap();
            let ratio = air.density_kg_m3() / expected;
            assert!((0.9994..1.0).contains(&ratio), "{ratio}");
        }
    }

    /// If this fails, percent passes for a share or a sea-level pressure in hPa for kilopascal.
    #[test]
    fn readings_in_other_units_are_refused() {
        assert_eq!(
            AmbientAir::new(1013.0, 20.0, 0.5),
            Err(AirError::Pressure(1013.0))
        );
        assert_eq!(
            AmbientAir::new(101.3, 293.0, 0.5),
            Err(AirError::Temperature(293.0))
        );
        assert_eq!(
            AmbientAir::new(101.3, 20.0, 50.0),
            Err(AirError::Humidity(50.0))
        );
        assert!(AmbientAir::new(f64::NAN, 20.0, 0.5).is_err());
    }
}
