//! How the plate follows the hand, and proposals for grip tables.

use baytrim_api::v1;
use baytrim_jobs::JobState;
use baytrim_jobs::grip::{ModeDelivery, deliveries, sentences};
use baytrim_model::grip::{GripCell, GripRow};
use baytrim_model::revision::TableKind;
use baytrim_rider::{Estimate, Gain, GripPoint};

/// Returns how the plate follows the hand in each riding mode of a job.
pub fn modes(state: &JobState) -> Vec<v1::ModeDelivery> {
    let found = deliveries(state);
    found.iter().map(|found| mode(state, found)).collect()
}

fn mode(state: &JobState, found: &ModeDelivery) -> v1::ModeDelivery {
    let table = TableKind::Grip {
        mode: found.mode.clone(),
    };
    let head = state.head_of(&table).map(|head| head.id);
    let steep = found.steep_steps();
    let gains = found.delivery.gains.iter().enumerate();
    v1::ModeDelivery {
        mode: found.mode.to_string(),
        grip_revision: found.revision.map_or_else(String::new, |id| id.to_string()),
        in_force: head.is_some() && found.revision == head,
        pulls: found.pulls.iter().map(ToString::to_string).collect(),
        other_pulls: found.other_pulls.iter().map(ToString::to_string).collect(),
        sentences: sentences(found),
        drifts: found.drifts(),
        drift_percent_per_1000_rpm: found.drift.map(estimate),
        off_table_percent: found.off_table.map(estimate),
        places: found.delivery.points.iter().map(place).collect(),
        gains: gains
            .map(|(index, step)| gain(step, steep.contains(&index)))
            .collect(),
        surface: found.surface.iter().map(cell).collect(),
        proposable: head.is_some(),
    }
}

fn estimate(estimate: Estimate) -> v1::GripEstimate {
    v1::GripEstimate {
        mean: estimate.value,
        mean_low: estimate.interval.map(|(low, _)| low),
        mean_high: estimate.interval.map(|(_, high)| high),
        stay_count: u32::try_from(estimate.stay_count).unwrap_or(u32::MAX),
    }
}

fn place(point: &GripPoint) -> v1::GripPlace {
    v1::GripPlace {
        grip_percent: point.grip_percent,
        plate_percent: Some(estimate(point.plate_percent)),
        drift_percent_per_1000_rpm: point.drift_percent_per_1000_rpm.map(estimate),
    }
}

fn gain(gain: &Gain, steep: bool) -> v1::GripGain {
    v1::GripGain {
        start_grip_percent: gain.from_grip_percent,
        end_grip_percent: gain.to_grip_percent,
        gain_factor: gain.gain,
        gain_factor_low: gain.interval.map(|(low, _)| low),
        gain_factor_high: gain.interval.map(|(_, high)| high),
        over_mean: gain.over_mean.map(estimate),
        steep,
    }
}

fn cell(cell: &GripCell) -> v1::GripCell {
    v1::GripCell {
        grip_percent: cell.grip_percent,
        rpm: cell.rpm,
        plate_percent: cell.plate_percent,
        row_count: cell.row_count,
    }
}

/// Returns what is proposed for one grip breakpoint.
pub fn row(row: &GripRow) -> v1::GripRow {
    v1::GripRow {
        grip_percent: row.grip_percent,
        before: row.before.clone(),
        after: row.after.clone(),
        measured_percent: row.measured_percent.map(|mean| v1::GripEstimate {
            mean,
            mean_low: row.measured_interval.map(|[low, _]| low),
            mean_high: row.measured_interval.map(|[_, high]| high),
            stay_count: row.stay_count,
        }),
    }
}
