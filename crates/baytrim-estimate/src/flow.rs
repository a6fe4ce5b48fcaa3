//! How much air an engine draws and how much exhaust that makes, from what a log holds.
//!
//! Only the shape over the table matters: the gas volume of the delay model and the coefficient of
//! the wall film scale with it.
//!
//! Exhaust volume flow Q = displacement / cycle * filling * (exhaust temperature / 293 K).

use baytrim_model::engine::Engine;

/// Filling (volumetric efficiency) of an open engine at its best, common practice.
const FILLING_MAX: f64 = 0.95;
/// Filling that is left with the plate shut.
const FILLING_MIN: f64 = 0.12;

/// Returns the share of a full cylinder that flows through the plate, 0.12 to 0.95.
///
/// A shut-to-open throat passes choked flow in proportion to its area, which limits the air per cycle
/// to area over speed until the engine itself is the limit. `rpm_max` is the top of the rpm axis.
pub fn plate_filling(rpm: f64, plate_percent: f64, rpm_max: f64) -> f64 {
    let opening = (plate_percent / 100.0).clamp(0.0, 1.0);
    // Area of an elliptic gap: 1 - cos(angle) for a plate that turns through 90 degrees, plus a leak.
    let area = 1.0 - (opening * std::f64::consts::FRAC_PI_2).cos() + 0.25 * opening + 0.02;
    let speed = (rpm / rpm_max).clamp(0.05, 1.5);
    let supply = 3.0 * area / speed;
    let filling = supply / (1.0 + supply * supply).sqrt();
    FILLING_MIN + (FILLING_MAX - FILLING_MIN) * filling
}

/// Returns the volume flow of hot exhaust in litres a second.
pub fn exhaust_l_per_s(engine: &Engine, rpm: f64, rpm_max: f64, filling: f64) -> f64 {
    let cold = engine.displacement_cc / 1000.0 / engine.cycle_s(rpm) * filling;
    let load = (filling / FILLING_MAX * (rpm / rpm_max).clamp(0.0, 1.2)).clamp(0.0, 1.2);
    // 650 K at idle to about 1100 K at full load and speed, common practice.
    let temperature_k = 650.0 + 450.0 * load.sqrt();
    cold * temperature_k / 293.0
}
