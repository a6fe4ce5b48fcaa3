//! From the rider's hand to the throttle plate.

use serde::{Deserialize, Serialize};

use crate::axis::AXIS_BREAKPOINTS_MAX;
use crate::field::{FieldError, check_range};

/// How the plate gives way at high engine speed: in full up to the first speed, by a share of the opening from
/// the second on, straight in between.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RollOff {
    /// Engine speed up to which nothing changes, rpm.
    pub from_rpm: f64,
    /// Engine speed from which the share holds, rpm.
    pub to_rpm: f64,
    /// Share of the opening that is left there, above 0 to 1.
    pub share: f64,
}

impl RollOff {
    /// Returns the share of the opening that is left at an engine speed.
    pub fn share_at(&self, engine_speed_rpm: f64) -> f64 {
        let way = (engine_speed_rpm - self.from_rpm) / (self.to_rpm - self.from_rpm);
        1.0 - way.clamp(0.0, 1.0) * (1.0 - self.share)
    }
}

/// The table from grip to plate of one riding mode, with what a proposal for it must keep to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GripTableSpec {
    /// Grip of each column, percent: rising from 0 to 100.
    pub grip_percent: Vec<f64>,
    /// Engine speed of each row, rpm, rising; none: one row for all engine speeds.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rpm: Vec<f64>,
    /// Plate, percent: one row per engine speed, one value per grip.
    pub plate_percent: Vec<Vec<f64>>,
    /// Least plate for a percent of grip, between any two breakpoints.
    #[serde(default = "slope_min")]
    pub slope_min: f64,
    /// Most plate for a percent of grip, between any two breakpoints.
    #[serde(default = "slope_max")]
    pub slope_max: f64,
    /// Weight of a change of slope beside that of a miss of one percent.
    #[serde(default = "smoothness")]
    pub smoothness: f64,
    /// Finest step that the table stores, percent.
    #[serde(default = "resolution")]
    pub resolution: f64,
    /// The only way in which engine speed may count in a proposal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub roll_off: Option<RollOff>,
}

fn slope_min() -> f64 {
    0.2
}

fn slope_max() -> f64 {
    2.0
}

fn smoothness() -> f64 {
    20.0
}

fn resolution() -> f64 {
    0.1
}

impl GripTableSpec {
    /// Returns the number of rows: engine speeds, or one for all of them.
    pub fn row_count(&self) -> usize {
        self.rpm.len().max(1)
    }

    /// Returns the number of values.
    pub fn node_count(&self) -> usize {
        self.row_count() * self.grip_percent.len()
    }

    /// Returns the values in node order: engine speed by engine speed.
    pub fn values(&self) -> Vec<f64> {
        self.plate_percent.concat()
    }

    /// Returns what is wrong with the table; `field` is the path to it.
    pub fn problems(&self, field: &str) -> Vec<FieldError> {
        let mut errors = Vec::new();
        let (columns, rows) = (self.grip_percent.len(), self.row_count());
        if columns.max(rows) > AXIS_BREAKPOINTS_MAX {
            errors.push(FieldError::new(
                field,
                format!("has {columns} grips and {rows} engine speeds"),
                format!("give at most {AXIS_BREAKPOINTS_MAX} of each"),
            ));
        }
        let is_rising = self.rpm.windows(2).all(|pair| pair[0] < pair[1]);
        if !is_rising {
            errors.push(FieldError::new(
                format!("{field}.rpm"),
                "does not rise",
                "list engine speeds in increasing order, each once",
            ));
        }
        check_range(
            &mut errors,
            &format!("{field}.rpm"),
            &self.rpm,
            (0.0, 25_000.0),
            "rpm",
        );
        let is_shaped = self.plate_percent.len() == rows
            && self.plate_percent.iter().all(|row| row.len() == columns);
        let path = format!("{field}.plate_percent");
        if !is_shaped {
            errors.push(FieldError::new(
                &path,
                "has another shape than its breakpoints",
                format!(
                    "give {rows} rows, one per engine speed, of {columns} values, one per grip"
                ),
            ));
        }
        for row in &self.plate_percent {
            check_range(&mut errors, &path, row, (0.0, 100.0), "percent");
        }
        if self.roll_off.is_some() && self.rpm.len() < 2 {
            errors.push(FieldError::new(
                format!("{field}.roll_off"),
                "is given for a table without engine speeds",
                "give `rpm` and one row for each, or leave the roll-off out",
            ));
        }
        errors
    }
}

/// One time at which the hand stood still.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stay {
    /// Mean grip, percent.
    pub grip_percent: f64,
    /// Mean plate, percent.
    pub plate_percent: f64,
    /// Mean engine speed, rpm.
    pub rpm: f64,
    /// Change of the plate over 1000 rpm, percent; none where engine speed hardly changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drift_percent_per_1000_rpm: Option<f64>,
}

/// Where the plate stood at one place of the hand and one engine speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GripCell {
    /// Grip in the middle of the cell, percent.
    pub grip_percent: f64,
    /// Engine speed in the middle of the cell, rpm.
    pub rpm: f64,
    /// Mean plate, percent.
    pub plate_percent: f64,
    /// Rows of stays in the cell.
    pub row_count: u32,
}

/// How the plate followed the hand in one pull.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PullGrip {
    /// The times at which the hand stood still, in the order of the log.
    pub stays: Vec<Stay>,
    /// Stays beyond the most that a record keeps: left out evenly over the pull.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub left_out_count: u32,
    /// Where the plate stood meanwhile, least grip and slowest engine first.
    pub cells: Vec<GripCell>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks for it so")]
fn is_zero(count: &u32) -> bool {
    *count == 0
}

/// What is proposed for a table from grip to plate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GripChange {
    /// One entry per grip breakpoint.
    pub rows: Vec<GripRow>,
}

/// What is proposed for one grip breakpoint, at all engine speeds of the table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GripRow {
    /// Grip, percent.
    pub grip_percent: f64,
    /// Plate before, percent: one value per engine speed of the table.
    pub before: Vec<f64>,
    /// Plate after, percent: on the table's resolution.
    pub after: Vec<f64>,
    /// Plate measured at the nearest place of the hand, percent; none where the hand never stood near.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured_percent: Option<f64>,
    /// Its 95 % interval over stays; none of a single stay.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured_interval: Option<[f64; 2]>,
    /// Stays behind it.
    pub stay_count: u32,
}

impl GripRow {
    /// Returns whether anything changes here.
    pub fn is_change(&self) -> bool {
        self.before != self.after
    }
}
