//! Power and the bay's air.

mod side_by_side;

use baytrim_api::v1;
use baytrim_jobs::{Refusal, power};
use baytrim_model::ids::PullId;
use baytrim_model::power::{
    AirReading, AirSource, Conditions, PowerCorrection, PowerPoint, PowerSource, PowerStandard,
    PullAir, PullPower,
};

pub use side_by_side::{CAUTIONS, comparison};

/// Returns the standard that is asked for; none: the job's.
///
/// # Errors
/// When it is none that this daemon knows.
pub fn asked(standard: i32) -> Result<Option<PowerStandard>, Refusal> {
    match v1::PowerStandard::try_from(standard) {
        Ok(v1::PowerStandard::Unspecified) => Ok(None),
        Ok(v1::PowerStandard::SaeJ1349) => Ok(Some(PowerStandard::SaeJ1349)),
        Ok(v1::PowerStandard::Iso1585) => Ok(Some(PowerStandard::Iso1585)),
        Ok(v1::PowerStandard::Din70020) => Ok(Some(PowerStandard::Din70020)),
        Err(_) => Err(Refusal::field(
            "standard",
            format!("{standard} is none of its values"),
            "use a value that this daemon's proto has",
        )),
    }
}

/// Returns pulls by their numbers.
///
/// # Errors
/// When a text is no number of a pull.
pub fn pulls(texts: &[String]) -> Result<Vec<PullId>, Refusal> {
    let parsed = texts.iter().map(|text| super::name::part("pulls", text));
    parsed.collect()
}

/// Returns the air that was given with a log; none where nobody gave any.
///
/// # Errors
/// When a reading cannot be that of a bay.
pub fn conditions(given: Option<&v1::Conditions>) -> Result<Option<Conditions>, Refusal> {
    let found = given.map_or_else(Conditions::default, |given| Conditions {
        pressure_kpa: given.pressure_kpa,
        temperature_c: given.temperature_c,
        humidity_percent: given.humidity_percent,
    });
    let problems = found.problems("open.conditions");
    if !problems.is_empty() {
        return Err(Refusal::Fields(problems));
    }
    Ok((!found.is_empty()).then_some(found))
}

/// Returns the air of a pull.
pub fn air(air: &PullAir) -> v1::PullAir {
    v1::PullAir {
        pressure: air.pressure_kpa.map(reading),
        temperature: air.temperature_c.map(reading),
        humidity: air.humidity_percent.map(reading),
        density_kg_m3: air.density_kg_m3,
    }
}

fn reading(reading: AirReading) -> v1::AirReading {
    let source = match reading.source {
        AirSource::Logged => v1::AirSource::Logged,
        AirSource::Given => v1::AirSource::Given,
        AirSource::Intake => v1::AirSource::Intake,
    };
    v1::AirReading {
        mean: reading.mean,
        change: reading.change,
        source: source.into(),
    }
}

/// Returns what a pull's roller says of power, with its curve.
pub fn whole(found: &PullPower) -> v1::PullPower {
    let points = found.points.iter();
    v1::PullPower {
        points: points.map(|point| self::point(found, point)).collect(),
        ..brief(found)
    }
}

/// Returns what a pull's roller says of power, without its curve.
pub fn brief(found: &PullPower) -> v1::PullPower {
    let source = match found.source {
        None => v1::PowerSource::Unspecified,
        Some(PowerSource::Torque) => v1::PowerSource::Torque,
        Some(PowerSource::Inertia) => v1::PowerSource::Inertia,
    };
    let peaks = found.peaks();
    v1::PullPower {
        source: source.into(),
        points: Vec::new(),
        band_rpm: found.band_rpm,
        window_s: found.window_s,
        bandwidth_hz: found.bandwidth_hz,
        part_load_count: found.part_load_count,
        correction: found.correction.as_ref().map(correction),
        remarks: found.remarks.clone(),
        peak_power: peaks.map(|(power, _)| point(found, &power)),
        peak_torque: peaks.map(|(_, torque)| point(found, &torque)),
    }
}

fn point(of: &PullPower, point: &PowerPoint) -> v1::PowerPoint {
    let corrected = of.corrected(point);
    v1::PowerPoint {
        rpm: point.engine_speed_rpm,
        power_kw: point.power_kw,
        power_error_kw: point.power_error_kw,
        torque_nm: point.torque_nm,
        corrected_power_kw: corrected.map(|(power_kw, _)| power_kw),
        corrected_torque_nm: corrected.map(|(_, torque_nm)| torque_nm),
        row_count: point.row_count,
    }
}

fn correction(found: &PowerCorrection) -> v1::PowerCorrection {
    v1::PowerCorrection {
        standard: standard(found.standard).into(),
        title: power::title(found.standard).to_owned(),
        correction_factor: found.factor,
        dry_factor: found.factor_range.map(|(dry, _)| dry),
        saturated_factor: found.factor_range.map(|(_, wet)| wet),
        valid: found.outside.is_empty(),
        outside: found.outside.clone(),
    }
}

/// Returns a standard on the wire.
pub fn standard(standard: PowerStandard) -> v1::PowerStandard {
    match standard {
        PowerStandard::SaeJ1349 => v1::PowerStandard::SaeJ1349,
        PowerStandard::Iso1585 => v1::PowerStandard::Iso1585,
        PowerStandard::Din70020 => v1::PowerStandard::Din70020,
    }
}
