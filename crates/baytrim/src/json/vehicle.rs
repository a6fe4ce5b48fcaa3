//! Overrun and secondary air for scripts.

use baytrim_api::v1::{PullBehaviour, VehicleRecord};
use serde::Serialize;

/// What the record says of a vehicle.
#[derive(Debug, Serialize)]
struct RecordJson<'a> {
    overrun_cut: Option<&'a str>,
    overrun_rpm: Option<f64>,
    secondary_air: Option<&'a str>,
}

/// How a vehicle behaved in a pull.
#[derive(Debug, Serialize)]
pub(super) struct BehaviourJson<'a> {
    recorded: Option<RecordJson<'a>>,
    overrun_cut: &'a str,
    overrun_low_rpm: Option<f64>,
    overrun_high_rpm: Option<f64>,
    secondary_air: &'a str,
}

impl<'a> From<&'a PullBehaviour> for BehaviourJson<'a> {
    fn from(found: &'a PullBehaviour) -> Self {
        Self {
            recorded: found.recorded.as_ref().map(record),
            overrun_cut: &found.overrun_cut,
            overrun_low_rpm: found.overrun_low_rpm,
            overrun_high_rpm: found.overrun_high_rpm,
            secondary_air: &found.secondary_air,
        }
    }
}

fn record(record: &VehicleRecord) -> RecordJson<'_> {
    RecordJson {
        overrun_cut: some(&record.overrun_cut),
        overrun_rpm: record.overrun_rpm,
        secondary_air: some(&record.secondary_air),
    }
}

fn some(word: &str) -> Option<&str> {
    (!word.is_empty()).then_some(word)
}
