//! What the engine's controller does besides reading its table: cuts, limiter, warm-up.

use crate::random::Dice;

/// The controller's own habits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EcuHabits {
    /// Whether fuel is cut on the overrun.
    pub overrun_cut: bool,
    /// Plate opening at or below which the overrun is cut, percent.
    pub overrun_plate_percent: f64,
    /// Speed above which the overrun is cut, rpm.
    pub overrun_rpm: f64,
    /// Speed below which fuel returns, rpm.
    pub resume_rpm: f64,
    /// Seconds of shut plate before the cut.
    pub overrun_wait_s: f64,
    /// Speed at which the limiter cuts fuel, rpm.
    pub limiter_rpm: f64,
    /// Whether a gear change cuts the spark (unburnt charge reaches the sensor) rather than the fuel.
    pub shift_cuts_spark: bool,
    /// Whether lambda is trimmed to target by the vehicle's own sensor at light load.
    pub closed_loop: bool,
    /// Share of the wall film's error that the controller's transient fuelling removes, 0 to 1.
    pub film_compensation: f64,
    /// Enrichment of the cold engine at 20 degrees C that lambda shows, log units.
    pub cold_enrichment: f64,
    /// Cycles between the table's reading and the closing of the intake valve.
    pub lead_cycles: f64,
}

impl EcuHabits {
    /// Returns habits drawn for an engine between `idle_rpm` and `limiter_rpm`.
    pub fn draw(dice: &mut Dice, idle_rpm: f64, limiter_rpm: f64) -> Self {
        let overrun_rpm = idle_rpm + dice.uniform(900.0, 1700.0);
        Self {
            overrun_cut: true,
            overrun_plate_percent: 1.2,
            overrun_rpm,
            resume_rpm: overrun_rpm - dice.uniform(300.0, 600.0),
            overrun_wait_s: dice.uniform(0.15, 0.4),
            limiter_rpm,
            closed_loop: false,
            shift_cuts_spark: dice.chance(0.5),
            film_compensation: dice.uniform(0.3, 0.8),
            cold_enrichment: dice.uniform(0.10, 0.22),
            lead_cycles: dice.uniform(0.25, 0.5),
        }
    }

    /// Returns the log enrichment at a coolant temperature: none from 72 degrees C on.
    pub fn warm_up(&self, coolant_c: f64) -> f64 {
        let cold = ((72.0 - coolant_c) / 52.0).clamp(0.0, 1.5);
        self.cold_enrichment * cold * cold.min(1.0)
    }
}

/// What is cut at the moment.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CutState {
    shut_s: f64,
    /// Fuel is cut on the overrun.
    pub overrun: bool,
    /// Fuel is cut by the limiter.
    pub limiter: bool,
}

impl CutState {
    /// Follows the engine for `step_s`.
    pub fn follow(&mut self, habits: &EcuHabits, rpm: f64, plate_percent: f64, step_s: f64) {
        let shut = plate_percent <= habits.overrun_plate_percent;
        self.shut_s = if shut { self.shut_s + step_s } else { 0.0 };
        let begins = self.shut_s >= habits.overrun_wait_s && rpm > habits.overrun_rpm;
        let goes_on = self.overrun && shut && rpm > habits.resume_rpm;
        self.overrun = habits.overrun_cut && (begins || goes_on);
        let limit = habits.limiter_rpm;
        self.limiter = rpm > limit || (self.limiter && rpm > limit - 120.0);
    }

    /// Returns whether fuel is cut.
    pub fn fuel_cut(&self) -> bool {
        self.overrun || self.limiter
    }
}
