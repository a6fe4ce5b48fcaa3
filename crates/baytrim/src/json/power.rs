//! Power for scripts.

use baytrim_api::v1::{
    AirReading, AirSource, ComparedPower, PowerChange, PowerCorrection, PowerDrift, PowerPoint,
    PowerSideBySide, PowerSource, PowerStandard, PowerVerdict, PullAir, PullPower,
};
use serde::Serialize;

use crate::name::{number, short};

/// Power of several pulls side by side.
#[derive(Debug, Serialize)]
pub(crate) struct ComparisonJson<'a> {
    job: &'a str,
    standard: &'static str,
    standard_title: &'a str,
    corrected: bool,
    common_rpm: &'a [f64],
    pulls: Vec<ComparedJson<'a>>,
    change: Option<ChangeJson<'a>>,
    cautions: &'a [String],
}

#[derive(Debug, Serialize)]
struct ComparedJson<'a> {
    id: String,
    bay: &'a str,
    revision: &'a str,
    stage: &'a str,
    create_time: Option<String>,
    power: Option<PowerJson<'a>>,
    air: Option<AirJson>,
    difference_percent: Option<f64>,
    doubts: &'a [String],
}

#[derive(Debug, Serialize)]
struct ChangeJson<'a> {
    before_pulls: &'a [String],
    after_pulls: &'a [String],
    difference_percent: f64,
    low_percent: Option<f64>,
    high_percent: Option<f64>,
    repeatability_percent: Option<f64>,
    verdict: &'static str,
    drift: Option<DriftJson>,
    sentences: &'a [String],
}

#[derive(Debug, Serialize)]
struct DriftJson {
    drift_percent_per_h: f64,
    drift_low_percent_per_h: f64,
    drift_high_percent_per_h: f64,
    change_percent: f64,
    change_low_percent: f64,
    change_high_percent: f64,
    verdict: &'static str,
}

/// What a pull's roller says of power.
#[derive(Debug, Serialize)]
pub(crate) struct PowerJson<'a> {
    source: Option<&'static str>,
    band_rpm: f64,
    window_s: f64,
    bandwidth_hz: f64,
    part_load_count: u64,
    correction: Option<CorrectionJson<'a>>,
    remarks: &'a [String],
    peak_power: Option<PointJson>,
    peak_torque: Option<PointJson>,
    points: Vec<PointJson>,
}

#[derive(Debug, Serialize)]
struct CorrectionJson<'a> {
    standard: &'static str,
    title: &'a str,
    factor: f64,
    dry_factor: Option<f64>,
    saturated_factor: Option<f64>,
    valid: bool,
    outside: &'a [String],
}

#[derive(Debug, Serialize)]
struct PointJson {
    rpm: f64,
    power_kw: f64,
    power_error_kw: f64,
    torque_nm: f64,
    corrected_power_kw: Option<f64>,
    corrected_torque_nm: Option<f64>,
    row_count: u64,
}

/// The air that a pull was measured in.
#[derive(Debug, Serialize)]
pub(crate) struct AirJson {
    pressure_kpa: Option<ReadingJson>,
    temperature_c: Option<ReadingJson>,
    humidity_percent: Option<ReadingJson>,
    density_kg_m3: Option<f64>,
}

#[derive(Debug, Serialize)]
struct ReadingJson {
    mean: f64,
    change: f64,
    source: &'static str,
}

impl<'a> ComparisonJson<'a> {
    /// Returns the power of pulls of `job`.
    pub(crate) fn new(found: &'a PowerSideBySide, job: &'a str) -> Self {
        Self {
            job,
            standard: standard(found.standard()),
            standard_title: &found.standard_title,
            corrected: found.corrected,
            common_rpm: &found.common_rpm,
            pulls: found.pulls.iter().map(compared).collect(),
            change: found.change.as_ref().map(change),
            cautions: &found.cautions,
        }
    }
}

fn compared(pull: &ComparedPower) -> ComparedJson<'_> {
    ComparedJson {
        id: short(&pull.name),
        bay: &pull.bay,
        revision: number(&pull.revision),
        stage: number(&pull.stage),
        create_time: pull.create_time.map(|time| time.to_string()),
        power: pull.power.as_ref().map(PowerJson::from),
        air: pull.air.as_ref().map(AirJson::from),
        difference_percent: pull.difference_percent,
        doubts: &pull.doubts,
    }
}

fn change(change: &PowerChange) -> ChangeJson<'_> {
    ChangeJson {
        before_pulls: &change.before_pulls,
        after_pulls: &change.after_pulls,
        difference_percent: change.difference_percent,
        low_percent: change.low_percent,
        high_percent: change.high_percent,
        repeatability_percent: change.repeatability_percent,
        verdict: verdict(change.verdict()),
        drift: change.drift.as_ref().map(drift),
        sentences: &change.sentences,
    }
}

fn drift(drift: &PowerDrift) -> DriftJson {
    DriftJson {
        drift_percent_per_h: drift.drift_percent_per_h,
        drift_low_percent_per_h: drift.drift_low_percent_per_h,
        drift_high_percent_per_h: drift.drift_high_percent_per_h,
        change_percent: drift.change_percent,
        change_low_percent: drift.change_low_percent,
        change_high_percent: drift.change_high_percent,
        verdict: verdict(drift.verdict()),
    }
}

fn verdict(verdict: PowerVerdict) -> &'static str {
    match verdict {
        PowerVerdict::Unspecified => "unknown",
        PowerVerdict::More => "more",
        PowerVerdict::Less => "less",
        PowerVerdict::InsideTheNoise => "inside_the_noise",
        PowerVerdict::CannotBeTold => "cannot_be_told",
    }
}

fn standard(standard: PowerStandard) -> &'static str {
    match standard {
        PowerStandard::Unspecified => "unknown",
        PowerStandard::SaeJ1349 => "sae_j1349",
        PowerStandard::Iso1585 => "iso_1585",
        PowerStandard::Din70020 => "din_70020",
    }
}

impl<'a> From<&'a PullPower> for PowerJson<'a> {
    fn from(power: &'a PullPower) -> Self {
        Self {
            source: match power.source() {
                PowerSource::Unspecified => None,
                PowerSource::Torque => Some("torque"),
                PowerSource::Inertia => Some("inertia"),
            },
            band_rpm: power.band_rpm,
            window_s: power.window_s,
            bandwidth_hz: power.bandwidth_hz,
            part_load_count: power.part_load_count,
            correction: power.correction.as_ref().map(correction),
            remarks: &power.remarks,
            peak_power: power.peak_power.as_ref().map(point),
            peak_torque: power.peak_torque.as_ref().map(point),
            points: power.points.iter().map(point).collect(),
        }
    }
}

fn correction(correction: &PowerCorrection) -> CorrectionJson<'_> {
    CorrectionJson {
        standard: standard(correction.standard()),
        title: &correction.title,
        factor: correction.correction_factor,
        dry_factor: correction.dry_factor,
        saturated_factor: correction.saturated_factor,
        valid: correction.valid,
        outside: &correction.outside,
    }
}

fn point(point: &PowerPoint) -> PointJson {
    PointJson {
        rpm: point.rpm,
        power_kw: point.power_kw,
        power_error_kw: point.power_error_kw,
        torque_nm: point.torque_nm,
        corrected_power_kw: point.corrected_power_kw,
        corrected_torque_nm: point.corrected_torque_nm,
        row_count: point.row_count,
    }
}

impl From<&PullAir> for AirJson {
    fn from(air: &PullAir) -> Self {
        Self {
            pressure_kpa: air.pressure.as_ref().map(reading),
            temperature_c: air.temperature.as_ref().map(reading),
            humidity_percent: air.humidity.as_ref().map(reading),
            density_kg_m3: air.density_kg_m3,
        }
    }
}

fn reading(reading: &AirReading) -> ReadingJson {
    ReadingJson {
        mean: reading.mean,
        change: reading.change,
        source: match reading.source() {
            AirSource::Unspecified => "unknown",
            AirSource::Logged => "logged",
            AirSource::Given => "given",
            AirSource::Intake => "intake",
        },
    }
}
