//! The air that a pull was measured in.

use baytrim_model::channel::Quantity;
use baytrim_model::power::{AirReading, AirSource, Conditions, PullAir};
use baytrim_model::samples::Samples;
use baytrim_power::AmbientAir;

/// Humidity taken where nobody knows it, percent: the middle, so that it is wrong by half of the range at the most.
pub const HUMIDITY_TAKEN_PERCENT: f64 = 50.0;

/// Returns the air of a pull: as it was logged, else as it was given, else with the log's intake temperature in the
/// place of the bay's. None where nobody told anything of the bay's air.
pub fn of_pull(samples: &Samples, given: Option<&Conditions>) -> Option<PullAir> {
    let given = given.copied().unwrap_or_default();
    let told = |quantity, given: Option<f64>| {
        logged(samples, quantity, AirSource::Logged).or_else(|| {
            given.map(|mean| AirReading {
                mean,
                change: 0.0,
                source: AirSource::Given,
            })
        })
    };
    let pressure_kpa = told(Quantity::AmbientPressure, given.pressure_kpa);
    let bay_c = told(Quantity::AmbientTemperature, given.temperature_c);
    let humidity_percent = told(Quantity::RelativeHumidity, given.humidity_percent);
    if pressure_kpa.is_none() && bay_c.is_none() && humidity_percent.is_none() {
        return None;
    }
    let temperature_c =
        bay_c.or_else(|| logged(samples, Quantity::IntakeTemperature, AirSource::Intake));
    let mut air = PullAir {
        pressure_kpa,
        temperature_c,
        humidity_percent,
        density_kg_m3: None,
    };
    air.density_kg_m3 = ambient(&air, None).map(|air| air.density_kg_m3());
    Some(air)
}

/// Returns the air as the standards take it, with `humidity_percent` in place of its own where given; none where
/// pressure or temperature are not known or cannot be those of a bay.
pub(crate) fn ambient(air: &PullAir, humidity_percent: Option<f64>) -> Option<AmbientAir> {
    let known = air.humidity_percent.map(|humidity| humidity.mean);
    let percent = humidity_percent.or(known).unwrap_or(HUMIDITY_TAKEN_PERCENT);
    // Sensors read a little over 100 in fog.
    let humidity = (percent / 100.0).clamp(0.0, 1.0);
    AmbientAir::new(air.pressure_kpa?.mean, air.temperature_c?.mean, humidity).ok()
}

fn logged(samples: &Samples, quantity: Quantity, source: AirSource) -> Option<AirReading> {
    let readings: Vec<f64> = samples
        .channel(quantity)?
        .iter()
        .copied()
        .filter(|reading| reading.is_finite())
        .collect();
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let fifth = readings.len().div_ceil(5);
    (!readings.is_empty()).then(|| AirReading {
        mean: mean(&readings),
        change: mean(&readings[readings.len() - fifth..]) - mean(&readings[..fifth]),
        source,
    })
}
