//! Full-throttle runs on a roller, with the power known at every speed.

use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;

use crate::random::{Dice, Purpose};
use crate::truth::EngineTruth;

/// Work of a gram of air drawn in by an engine at full load, joules: petrol's 43 kJ/g over 13 of air to one of fuel, of
/// which a third comes out at the crank; handbook figures.
const WORK_J_PER_G: f64 = 1100.0;

/// A roller with its logger.
#[derive(Debug, Clone, PartialEq)]
pub struct RollerOptions {
    /// Moment of inertia of all that turns with it, kg m2.
    pub inertia_kg_m2: f64,
    /// Turns of the engine to one of the roller.
    pub ratio: f64,
    /// Share of the crank's power that comes to the roller.
    pub efficiency: f64,
    /// Factor on the engine's torque: what a change of the engine brings.
    pub strength: f64,
    /// Whether torque is logged.
    pub logs_torque: bool,
    /// Rows a second.
    pub rate_hz: f64,
    /// Noise of the roller's speed, rpm, one standard deviation.
    pub speed_noise_rpm: f64,
    /// Noise of its torque meter, Nm.
    pub torque_noise_nm: f64,
    /// Air of the bay where it is logged: pressure in kPa, temperature in degrees Celsius, humidity in percent.
    pub air: Option<(f64, f64, f64)>,
}

impl Default for RollerOptions {
    /// A roller of 3 kg m2 whose speed is read by a pick-up, 50 rows a second, in a bay whose air is logged.
    fn default() -> Self {
        Self {
            inertia_kg_m2: 3.0,
            ratio: 3.2,
            efficiency: 0.88,
            strength: 1.0,
            logs_torque: false,
            rate_hz: 50.0,
            speed_noise_rpm: 0.4,
            torque_noise_nm: 2.0,
            air: Some((98.4, 24.0, 50.0)),
        }
    }
}

/// Returns the engine's torque at full load that comes to the roller, Nm at the engine's speed, on the day.
pub fn torque_nm(truth: &EngineTruth, roller: &RollerOptions, rpm: f64) -> f64 {
    let air_g = truth.air.air_g_per_cycle(rpm, 100.0);
    let work_j = WORK_J_PER_G * air_g * roller.strength * roller.efficiency;
    // A four-stroke's cycle is two turns.
    work_j / (2.0 * std::f64::consts::TAU)
}

/// Returns the power at the roller, kilowatt.
pub fn power_kw(truth: &EngineTruth, roller: &RollerOptions, rpm: f64) -> f64 {
    torque_nm(truth, roller, rpm) * rpm * std::f64::consts::TAU / 60_000.0
}

/// One moment of a run as it truly was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Seconds since the run began.
    pub at_s: f64,
    /// Engine speed, rpm.
    pub engine_rpm: f64,
    /// Plate, percent.
    pub plate_percent: f64,
    /// Torque at the roller, Nm.
    pub roller_nm: f64,
}

/// Returns one run, a moment to a row: two seconds at part load, then wide open to 97 % of the limiter, then a second
/// shut.
///
/// Speeds follow from torque and inertia step by step, so that work put in is energy of the roller.
pub fn motion(truth: &EngineTruth, roller: &RollerOptions) -> Vec<Moment> {
    /// Time step of the integration, seconds.
    const STEP_S: f64 = 0.0005;
    let end_rpm = 0.97 * truth.ecu.limiter_rpm;
    let per_rpm = std::f64::consts::TAU / 60.0;
    let mut moments = Vec::new();
    let (mut engine_rpm, mut now_s, mut next_s) = (2500.0, 0.0, 0.0);
    let mut shut_since_s = f64::INFINITY;
    while now_s < shut_since_s + 1.0 && now_s < 120.0 {
        let is_open = now_s >= 2.0 && shut_since_s.is_infinite();
        let plate_percent = match (now_s < 2.0, is_open) {
            (true, _) => 30.0,
            (false, true) => 100.0,
            _ => 0.0,
        };
        let at_engine_nm = if is_open {
            torque_nm(truth, roller, engine_rpm)
        } else if plate_percent > 0.0 {
            0.0
        } else {
            -8.0
        };
        let roller_nm = at_engine_nm * roller.ratio;
        if now_s >= next_s {
            next_s += 1.0 / roller.rate_hz;
            moments.push(Moment {
                at_s: now_s,
                engine_rpm,
                plate_percent,
                roller_nm,
            });
        }
        let roller_rpm_per_s = roller_nm / roller.inertia_kg_m2 / per_rpm;
        engine_rpm += roller_rpm_per_s * roller.ratio * STEP_S;
        now_s += STEP_S;
        if engine_rpm >= end_rpm && shut_since_s.is_infinite() {
            shut_since_s = now_s;
        }
    }
    moments
}

/// Returns [`motion`] as a logger with noise writes it.
pub fn run(truth: &EngineTruth, roller: &RollerOptions, seed: u64) -> Samples {
    let mut dice = Dice::new(seed, Purpose::Logger);
    let mut samples = Samples::default();
    for moment in motion(truth, roller) {
        let mut put = |quantity, value: f64| {
            samples.channels.entry(quantity).or_default().push(value);
        };
        put(
            Quantity::EngineSpeed,
            moment.engine_rpm + 4.0 * dice.normal(),
        );
        put(Quantity::PlateAngle, moment.plate_percent);
        put(Quantity::Lambda, 0.88 + 0.004 * dice.normal());
        let speed = moment.engine_rpm / roller.ratio + roller.speed_noise_rpm * dice.normal();
        put(Quantity::RollerSpeed, speed);
        if roller.logs_torque {
            let torque = moment.roller_nm + roller.torque_noise_nm * dice.normal();
            put(Quantity::RollerTorque, torque);
        }
        if let Some((kpa, c, percent)) = roller.air {
            put(Quantity::AmbientPressure, kpa);
            put(Quantity::AmbientTemperature, c);
            put(Quantity::RelativeHumidity, percent);
        }
        samples
            .offset_s
            .push(libm::round(moment.at_s * 10_000.0) / 10_000.0);
    }
    samples
}
