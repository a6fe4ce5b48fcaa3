//! How much air an engine draws and how much exhaust that makes, from what a log holds.
//!
//! Only the shape over the table matters: the gas volume of the delay model and the coefficient of
//! the wall film scale with it.
//!
//! Exhaust volume flow Q = displacement / cycle * filling * (exhaust temperature / 293 K).

use baytrim_model::engine::Engine;

/// Filling (volumetric efficiency) of an open engine, common practice.
const FILLING_MAX: f64 = 0.95;
/// Share of the open plate's area that passes it when shut, common practice.
const LEAK: f64 = 0.01;
/// Share of the open plate's area that the engine asks for at top speed: plates are chosen three to six
/// times larger than what chokes the flow there. Common practice.
const DEMAND: f64 = 0.22;

/// Returns the share of a full cylinder that flows through the plate, up to 0.95.
///
/// A throat passes choked flow in proportion to its area, 1 - cos(angle) for a plate that turns through
/// 90 degrees, which limits the air per cycle to area over speed until the engine itself is the limit.
/// `rpm_max` is the top of the rpm axis. Source of the area: Heywood (1988), section 7.6, from memory.
pub fn plate_filling(rpm: f64, plate_percent: f64, rpm_max: f64) -> f64 {
    let opening = (plate_percent / 100.0).clamp(0.0, 1.0);
    let area = LEAK + (1.0 - LEAK) * (1.0 - (opening * std::f64::consts::FRAC_PI_2).cos());
    let speed = (rpm / rpm_max).clamp(0.05, 1.5);
    FILLING_MAX * (area / (DEMAND * speed)).tanh()
}

/// Returns the volume flow of hot exhaust in litres a second.
pub fn exhaust_l_per_s(engine: &Engine, rpm: f64, rpm_max: f64, filling: f64) -> f64 {
    let cold = engine.displacement_cc / 1000.0 / engine.cycle_s(rpm) * filling;
    let load = (filling / FILLING_MAX * (rpm / rpm_max).clamp(0.0, 1.2)).clamp(0.0, 1.2);
    // 650 K at idle to about 1100 K at full load and speed, common practice.
    let temperature_k = 650.0 + 450.0 * load.sqrt();
    cold * temperature_k / 293.0
}
