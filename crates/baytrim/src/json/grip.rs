//! How the plate follows the hand, and grip tables, for scripts.

use baytrim_api::v1::{GripCell, GripEstimate, GripGain, GripPlace, GripRow, ModeDelivery};
use serde::Serialize;

use crate::name::number;

/// How the plate follows the hand in a job.
#[derive(Debug, Serialize)]
pub(crate) struct DeliveryJson<'a> {
    job: &'a str,
    modes: Vec<ModeJson<'a>>,
}

#[derive(Debug, Serialize)]
struct ModeJson<'a> {
    mode: &'a str,
    grip_revision: Option<&'a str>,
    in_force: bool,
    proposable: bool,
    pulls: Vec<&'a str>,
    other_pulls: Vec<&'a str>,
    sentences: &'a [String],
    drifts: bool,
    drift_percent_per_1000_rpm: Option<EstimateJson>,
    off_table_percent: Option<EstimateJson>,
    places: Vec<PlaceJson>,
    gains: Vec<GainJson>,
    surface: Vec<CellJson>,
}

#[derive(Debug, Serialize)]
struct EstimateJson {
    value: f64,
    low: Option<f64>,
    high: Option<f64>,
    stay_count: u32,
}

#[derive(Debug, Serialize)]
struct PlaceJson {
    grip_percent: f64,
    plate_percent: Option<EstimateJson>,
    drift_percent_per_1000_rpm: Option<EstimateJson>,
}

#[derive(Debug, Serialize)]
struct GainJson {
    start_grip_percent: f64,
    end_grip_percent: f64,
    gain_factor: f64,
    gain_factor_low: Option<f64>,
    gain_factor_high: Option<f64>,
    over_mean: Option<EstimateJson>,
    steep: bool,
}

#[derive(Debug, Serialize)]
struct CellJson {
    grip_percent: f64,
    rpm: f64,
    plate_percent: f64,
    row_count: u32,
}

/// What is proposed for one grip breakpoint.
#[derive(Debug, Serialize)]
pub(crate) struct GripRowJson<'a> {
    grip_percent: f64,
    before: &'a [f64],
    after: &'a [f64],
    measured_percent: Option<EstimateJson>,
}

impl<'a> DeliveryJson<'a> {
    /// Returns how the plate follows the hand in `job`.
    pub(crate) fn new(job: &'a str, modes: &'a [ModeDelivery]) -> Self {
        Self {
            job,
            modes: modes.iter().map(mode).collect(),
        }
    }
}

fn mode(mode: &ModeDelivery) -> ModeJson<'_> {
    ModeJson {
        mode: &mode.mode,
        grip_revision: (!mode.grip_revision.is_empty()).then(|| number(&mode.grip_revision)),
        in_force: mode.in_force,
        proposable: mode.proposable,
        pulls: mode.pulls.iter().map(String::as_str).collect(),
        other_pulls: mode.other_pulls.iter().map(String::as_str).collect(),
        sentences: &mode.sentences,
        drifts: mode.drifts,
        drift_percent_per_1000_rpm: mode.drift_percent_per_1000_rpm.as_ref().map(estimate),
        off_table_percent: mode.off_table_percent.as_ref().map(estimate),
        places: mode.places.iter().map(place).collect(),
        gains: mode.gains.iter().map(gain).collect(),
        surface: mode.surface.iter().map(cell).collect(),
    }
}

fn estimate(estimate: &GripEstimate) -> EstimateJson {
    EstimateJson {
        value: estimate.mean,
        low: estimate.mean_low,
        high: estimate.mean_high,
        stay_count: estimate.stay_count,
    }
}

fn place(place: &GripPlace) -> PlaceJson {
    PlaceJson {
        grip_percent: place.grip_percent,
        plate_percent: place.plate_percent.as_ref().map(estimate),
        drift_percent_per_1000_rpm: place.drift_percent_per_1000_rpm.as_ref().map(estimate),
    }
}

fn gain(gain: &GripGain) -> GainJson {
    GainJson {
        start_grip_percent: gain.start_grip_percent,
        end_grip_percent: gain.end_grip_percent,
        gain_factor: gain.gain_factor,
        gain_factor_low: gain.gain_factor_low,
        gain_factor_high: gain.gain_factor_high,
        over_mean: gain.over_mean.as_ref().map(estimate),
        steep: gain.steep,
    }
}

fn cell(cell: &GripCell) -> CellJson {
    CellJson {
        grip_percent: cell.grip_percent,
        rpm: cell.rpm,
        plate_percent: cell.plate_percent,
        row_count: cell.row_count,
    }
}

/// Returns what is proposed for one grip breakpoint.
pub(crate) fn row(row: &GripRow) -> GripRowJson<'_> {
    GripRowJson {
        grip_percent: row.grip_percent,
        before: &row.before,
        after: &row.after,
        measured_percent: row.measured_percent.as_ref().map(estimate),
    }
}
