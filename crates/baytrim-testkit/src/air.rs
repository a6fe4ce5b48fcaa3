//! What the engine breathes: charge, exhaust temperature and exhaust volume flow.

use crate::random::Dice;

/// Air density at 25 degrees C and 99 kPa in grams a litre (ideal gas).
const AIR_G_PER_L: f64 = 1.157;
/// Gas constant of exhaust, joules per gram and kelvin; close to air's.
const GAS_CONSTANT: f64 = 0.287;
/// Pressure in the pipe in kilopascal: a little above the room.
const PIPE_KPA: f64 = 103.0;

/// How an engine breathes over speed and plate.
#[derive(Debug, Clone, PartialEq)]
pub struct AirModel {
    /// Swept volume of all cylinders, litres.
    pub displacement_l: f64,
    /// Speed of best filling, rpm.
    pub tuned_rpm: f64,
    /// Speed scale of the filling's fall-off, rpm.
    pub tuned_width_rpm: f64,
    /// Best volumetric efficiency, ratio.
    pub best_filling: f64,
    /// Plate area over pumping demand at which the plate stops throttling; larger is a smaller plate.
    pub plate_demand: f64,
    /// Share of the full plate area that leaks past a shut plate.
    pub leak: f64,
    /// Highest speed, rpm.
    pub rpm_last: f64,
}

impl AirModel {
    /// Returns a model drawn for an engine that turns up to `rpm_last`.
    pub fn draw(dice: &mut Dice, displacement_l: f64, rpm_last: f64) -> Self {
        Self {
            displacement_l,
            tuned_rpm: rpm_last * dice.uniform(0.6, 0.85),
            tuned_width_rpm: rpm_last * dice.uniform(0.45, 0.7),
            best_filling: dice.uniform(0.88, 1.08),
            plate_demand: dice.uniform(0.16, 0.28),
            leak: dice.uniform(0.006, 0.012),
            rpm_last,
        }
    }

    /// Returns the volumetric efficiency, a ratio of swept volume at room density.
    ///
    /// The plate opens as 1 - cos(angle); what passes, over what the pistons ask for, saturates.
    pub fn filling(&self, rpm: f64, plate_percent: f64) -> f64 {
        let angle = plate_percent.clamp(0.0, 100.0) / 100.0 * std::f64::consts::FRAC_PI_2;
        let area = self.leak + (1.0 - self.leak) * (1.0 - libm::cos(angle));
        let demand = self.plate_demand * rpm.max(300.0) / self.rpm_last;
        // Choked at small openings (proportional), saturated when the plate is no restriction.
        let passed = libm::tanh(area / demand);
        let off = (rpm - self.tuned_rpm) / self.tuned_width_rpm;
        self.best_filling * passed * (1.0 - 0.22 * off * off).max(0.45)
    }

    /// Returns the air of one working cycle of all cylinders in grams.
    pub fn air_g_per_cycle(&self, rpm: f64, plate_percent: f64) -> f64 {
        self.air_g(self.filling(rpm, plate_percent))
    }

    /// Returns the air of one working cycle of all cylinders in grams at a filling.
    pub fn air_g(&self, filling: f64) -> f64 {
        filling * self.displacement_l * AIR_G_PER_L
    }

    /// Returns the exhaust temperature near the sensor in kelvin; `fired` is false during a fuel cut.
    pub fn exhaust_k(&self, rpm: f64, filling: f64, fired: bool) -> f64 {
        if fired {
            580.0 + 260.0 * (rpm / self.rpm_last).min(1.1) + 240.0 * filling.min(1.1)
        } else {
            520.0
        }
    }

    /// Returns the exhaust's volume flow in litres a second.
    pub fn exhaust_l_per_s(&self, rpm: f64, air_g_per_cycle: f64, exhaust_k: f64) -> f64 {
        // Fuel adds about a fourteenth to the mass; a four-stroke's cycle takes 120 / rpm seconds.
        let gas_g_per_s = air_g_per_cycle * (1.0 + 1.0 / 14.3) * rpm / 120.0;
        gas_g_per_s * GAS_CONSTANT * exhaust_k / PIPE_KPA
    }
}

#[cfg(test)]
mod tests {
    use super::AirModel;

    fn model() -> AirModel {
        AirModel {
            displacement_l: 0.6,
            tuned_rpm: 7500.0,
            tuned_width_rpm: 6000.0,
            best_filling: 1.0,
            plate_demand: 0.2,
            leak: 0.009,
            rpm_last: 10_000.0,
        }
    }

    /// Transport delays would be of another size than real ones.
    ///
    /// Ideal gas, worked by hand for 0.6 l, 1.0 l of pipe, 103 kPa and air of 1.19 g/l:
    /// gas delays of 303, 72, 25, 39 and 10 ms.
    #[test]
    fn gas_delays_agree_with_worked_examples() {
        for (rpm, filling, exhaust_k, delay_ms) in [
            (1300.0, 0.22, 650.0, 303.0),
            (3000.0, 0.35, 750.0, 72.0),
            (3000.0, 0.85, 900.0, 25.0),
            (6000.0, 0.30, 800.0, 39.0),
            (6000.0, 0.95, 1000.0, 10.0),
        ] {
            let air_g = filling * 0.6 * 1.19;
            let got_ms = 1000.0 / model().exhaust_l_per_s(rpm, air_g, exhaust_k);
            assert!(
                (got_ms - delay_ms).abs() < 0.5 + 0.02 * delay_ms,
                "{rpm}: {got_ms} ms"
            );
        }
    }

    /// An engine that breathes more with the plate shut than open, or less than nothing, is none.
    #[test]
    fn filling_grows_with_the_plate_and_saturates() {
        let model = model();
        for rpm in [1200.0, 4000.0, 9000.0] {
            let filling: Vec<f64> = (0..=20)
                .map(|step| model.filling(rpm, f64::from(step) * 5.0))
                .collect();
            assert!(filling.windows(2).all(|pair| pair[1] >= pair[0]));
            assert!(filling[0] > 0.01 && filling[20] < 1.1);
        }
        // At low speed a third of the plate is as good as all of it; at high speed it is not.
        assert!(model.filling(1500.0, 33.0) > 0.98 * model.filling(1500.0, 100.0));
        assert!(model.filling(9000.0, 33.0) < 0.8 * model.filling(9000.0, 100.0));
    }
}
