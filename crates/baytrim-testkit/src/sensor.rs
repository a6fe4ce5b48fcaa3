//! A lambda sensor with its meter: lag, bias, stops, steps.

/// A sensor whose pump current, and so phi = 1/lambda, follows the gas with a small lag of its
/// cover and a first-order lag of cell and meter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensor {
    covered_phi: f64,
    phi: f64,
}

impl Sensor {
    /// Returns a sensor settled in gas of equivalence ratio `phi`.
    pub fn settled(phi: f64) -> Self {
        Self {
            covered_phi: phi,
            phi,
        }
    }

    /// Follows the gas for `step_s`, with time constants `cover_s` and `lag_s`, and returns phi.
    pub fn follow(&mut self, gas_phi: f64, step_s: f64, cover_s: f64, lag_s: f64) -> f64 {
        let share = |tau_s: f64| {
            if tau_s > 0.0 {
                1.0 - libm::exp(-step_s / tau_s)
            } else {
                1.0
            }
        };
        self.covered_phi += share(cover_s) * (gas_phi - self.covered_phi);
        self.phi += share(lag_s) * (self.covered_phi - self.phi);
        self.phi
    }
}

/// How a meter shows phi as lambda.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meter {
    /// Richest reading.
    pub lambda_min: f64,
    /// Leanest reading.
    pub lambda_max: f64,
    /// Step of the reading; 0 for none.
    pub step: f64,
}

impl Meter {
    /// Returns the reading of gas of equivalence ratio `phi` with an error of `error_log` in log units.
    pub fn read(&self, phi: f64, error_log: f64) -> f64 {
        let lambda = libm::exp(error_log) / phi.max(1e-3);
        let held = lambda.clamp(self.lambda_min, self.lambda_max);
        if self.step > 0.0 {
            libm::round(held / self.step) * self.step
        } else {
            held
        }
    }
}

/// Moles of wet exhaust per mole of air for hydrogen to carbon 1.85 near lambda 0.87.
const EXHAUST_MOLES_PER_AIR: f64 = 1.10;

/// Returns the equivalence ratio of exhaust with the volume share `air_share` of fresh air in it.
pub fn diluted_phi(phi: f64, air_share: f64) -> f64 {
    phi / (1.0 + EXHAUST_MOLES_PER_AIR * air_share / (1.0 - air_share))
}

#[cfg(test)]
mod tests {
    use super::{Meter, Sensor, diluted_phi};

    /// A leaking joint would read too little or too much lean.
    ///
    /// Stoichiometry of CH1.85 at lambda 0.87 (element balance): 1, 2, 5 and 10 % of air in the wet
    /// sample read 1.1, 2.3, 5.8 and 12.3 % lean.
    #[test]
    fn false_air_reads_lean_as_stoichiometry_has_it() {
        for (air_share, lean_percent) in [(0.01, 1.1), (0.02, 2.3), (0.05, 5.8), (0.10, 12.3)] {
            let read = 100.0 * (1.0 / diluted_phi(1.0, air_share) - 1.0);
            assert!((read - lean_percent).abs() < 0.1, "{air_share}: {read} %");
        }
    }

    /// The sensor's lag would be another than stated: a step reaches 63.2 % after one time constant.
    #[test]
    fn a_step_is_answered_as_a_first_order_system() {
        let mut sensor = Sensor::settled(1.0);
        for step in 1..=500 {
            let phi = sensor.follow(0.8, 0.001, 0.0, 0.1);
            let expected = 0.8 + 0.2 * libm::exp(-f64::from(step) * 0.001 / 0.1);
            assert!((phi - expected).abs() < 1e-9);
        }
    }

    /// Air must read as the stop of the meter, or overrun would look like a lean mixture.
    #[test]
    fn air_reads_the_stop() {
        let meter = Meter {
            lambda_min: 0.65,
            lambda_max: 1.8,
            step: 0.001,
        };
        assert!((meter.read(0.0, 0.0) - 1.8).abs() < 1e-12);
        assert!((meter.read(2.0, 0.0) - 0.65).abs() < 1e-12);
        assert!((meter.read(1.0 / 0.87, 0.0) - 0.87).abs() < 1e-12);
    }
}
