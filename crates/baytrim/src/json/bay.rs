//! A bay for scripts.

use baytrim_api::v1::{Bay, BayComparison, LearntDelay, SensorCheck};
use serde::Serialize;

use crate::name::{number, short};

/// What the ledger knows of a bay.
#[derive(Debug, Serialize)]
pub(crate) struct BayPageJson<'a> {
    bay: String,
    map: Option<&'a str>,
    leaner_percent: Option<f64>,
    leaner_error_percent: Option<f64>,
    comparisons: Vec<ComparisonJson>,
    delays: Vec<DelayJson>,
    sensor_checks: Vec<SensorCheckJson<'a>>,
    sensor_due: &'a [String],
}

#[derive(Debug, Serialize)]
struct SensorCheckJson<'a> {
    oxygen_percent: f64,
    notes: &'a str,
    create_time: Option<String>,
    creator: &'a str,
}

#[derive(Debug, Serialize)]
struct ComparisonJson {
    job: String,
    leaner_percent: f64,
    standard_error_percent: f64,
}

#[derive(Debug, Serialize)]
struct DelayJson {
    job: String,
    displacement_cc: f64,
    cycles: f64,
    gas_volume_l: f64,
    lag_s: f64,
    cycles_error: f64,
    gas_volume_error_l: f64,
    lag_error_s: f64,
}

impl<'a> From<&'a Bay> for BayPageJson<'a> {
    fn from(bay: &'a Bay) -> Self {
        Self {
            bay: short(&bay.name),
            map: (!bay.channel_map.is_empty()).then(|| number(&bay.channel_map)),
            leaner_percent: bay.leaner_percent,
            leaner_error_percent: bay.leaner_percent.map(|_| bay.leaner_error_percent),
            comparisons: bay.comparisons.iter().map(comparison).collect(),
            delays: bay.delays.iter().map(delay).collect(),
            sensor_checks: bay.sensor_checks.iter().map(check).collect(),
            sensor_due: &bay.sensor_due,
        }
    }
}

fn check(told: &SensorCheck) -> SensorCheckJson<'_> {
    SensorCheckJson {
        oxygen_percent: told.oxygen_percent,
        notes: &told.notes,
        create_time: told.create_time.map(|time| time.to_string()),
        creator: &told.creator,
    }
}

fn comparison(told: &BayComparison) -> ComparisonJson {
    ComparisonJson {
        job: short(&told.job),
        leaner_percent: told.leaner_percent,
        standard_error_percent: told.standard_error_percent,
    }
}

fn delay(told: &LearntDelay) -> DelayJson {
    DelayJson {
        job: short(&told.job),
        displacement_cc: told.displacement_cc,
        cycles: told.cycles,
        gas_volume_l: told.gas_volume_l,
        lag_s: told.lag_s,
        cycles_error: told.cycles_error,
        gas_volume_error_l: told.gas_volume_error_l,
        lag_error_s: told.lag_error_s,
    }
}
