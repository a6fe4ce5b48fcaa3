//! A controller that trims lambda to target by the vehicle's own sensor.

/// Largest short-term and long-term trim, as a share of fuel.
const TRIM_MAX: f64 = 0.25;
/// Plate opening above which the loop is open, percent.
const PLATE_PERCENT_MAX: f64 = 40.0;
/// Coolant temperature below which the loop is open, degrees Celsius.
const COOLANT_C_MIN: f64 = 55.0;
/// Share of the error that the short-term trim takes up in a second: slow against the exhaust's delay.
const SHORT_PER_S: f64 = 0.9;
/// Share of the short-term trim that the long-term trim takes over in a second.
const LONG_PER_S: f64 = 0.02;

/// Where the engine is, as far as the loop cares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoopInput {
    /// Plate opening, percent.
    pub plate_percent: f64,
    /// Coolant temperature, degrees Celsius.
    pub coolant_c: f64,
    /// Whether fuel is cut.
    pub cut: bool,
    /// Equivalence ratio at the vehicle's own sensor.
    pub phi: f64,
    /// Lambda wanted here.
    pub target: f64,
}

/// Short-term and long-term fuel trims, as shares of fuel: 0.05 adds 5 %.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct FuelTrims {
    /// Follows the error; 0 while the loop is open.
    pub short: f64,
    /// Learns from the short-term trim; stays when the loop opens.
    pub long: f64,
    /// Whether the loop is closed.
    pub closed: bool,
}

impl FuelTrims {
    /// Follows the engine for `step_s`.
    pub fn follow(&mut self, input: LoopInput, step_s: f64) {
        let open =
            input.cut || input.plate_percent > PLATE_PERCENT_MAX || input.coolant_c < COOLANT_C_MIN;
        self.closed = !open;
        if open {
            self.short = 0.0;
            return;
        }
        // Lean gas (phi below the wanted 1 / target) asks for fuel.
        let error = 1.0 - (input.phi * input.target).min(1.5);
        let short = self.short + SHORT_PER_S * error * step_s;
        self.short = short.clamp(-TRIM_MAX, TRIM_MAX);
        let taken = LONG_PER_S * self.short * step_s;
        self.long = (self.long + taken).clamp(-TRIM_MAX, TRIM_MAX);
    }

    /// Returns the factor on fuel.
    pub fn factor(&self) -> f64 {
        (1.0 + self.short) * (1.0 + self.long)
    }
}

#[cfg(test)]
mod tests {
    use super::{FuelTrims, LoopInput};

    /// Trims would not hold what the table lacks, which is what trim logs are read for.
    #[test]
    fn the_trims_take_up_the_whole_error_and_hand_it_over() {
        let need = 1.08;
        let mut trims = FuelTrims::default();
        let input = |trims: &FuelTrims| LoopInput {
            plate_percent: 15.0,
            coolant_c: 85.0,
            cut: false,
            phi: trims.factor() / need / 0.98,
            target: 0.98,
        };
        for _ in 0..1000 {
            trims.follow(input(&trims), 0.01);
        }
        // What the long-term trim takes over in the meantime is still missing: 0.02 / 0.9 of the short one.
        assert!((trims.factor() - need).abs() < 3e-3 && trims.short > 0.05);
        for _ in 0..60_000 {
            trims.follow(input(&trims), 0.01);
        }
        assert!((trims.long - 0.08).abs() < 1e-3 && trims.short.abs() < 1e-3);
        trims.short = 0.02;
        trims.follow(
            LoopInput {
                cut: true,
                ..input(&trims)
            },
            0.01,
        );
        assert!(trims.short == 0.0 && (trims.long - 0.08).abs() < 1e-3);
    }
}
