//! Which column of a log is which quantity.

mod problems;
mod quantity;
mod unit;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use quantity::Quantity;
pub use unit::Unit;

/// How one source column becomes one quantity: `(raw * scale + offset)`, or the line through
/// `points`, read in `unit`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Channel {
    /// Header of the source column, to the letter, save for spaces at its ends.
    pub column: String,
    /// Unit of the column once it is scaled.
    pub unit: Unit,
    /// Factor applied first.
    #[serde(default = "one")]
    pub scale: f64,
    /// Added after the factor, in `unit`.
    #[serde(default)]
    pub offset: f64,
    /// Two points of a straight line, each a raw value and what that is in `unit`, in place of
    /// scale and offset: for sensor volts, raw counts and degrees of plate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub points: Option<[[f64; 2]; 2]>,
    /// Raw values that mean 'no reading', finite.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub no_reading: Vec<f64>,
    /// Raw texts that mean 'no reading', such as `---` or `NaN`; letter case does not matter.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub no_reading_text: Vec<String>,
    /// Whether a log without the column is read all the same.
    #[serde(default, skip_serializing_if = "is_false")]
    pub optional: bool,
}

impl Channel {
    /// Returns a channel that takes `column` as it stands, in `unit`.
    pub fn new(column: impl Into<String>, unit: Unit) -> Self {
        Self {
            column: column.into(),
            unit,
            scale: 1.0,
            offset: 0.0,
            points: None,
            no_reading: Vec::new(),
            no_reading_text: Vec::new(),
            optional: false,
        }
    }

    /// Returns what `raw` is in the channel's unit.
    pub fn scaled(&self, raw: f64) -> f64 {
        match self.points {
            None => raw * self.scale + self.offset,
            Some([[raw_a, value_a], [raw_b, value_b]]) => {
                // Written so that both points come out to the bit.
                let share = (raw - raw_a) / (raw_b - raw_a);
                value_a * (1.0 - share) + value_b * share
            }
        }
    }
}

/// How the log tells time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TimeChannel {
    /// Header of the column; none when rows come at a steady `rate_hz`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub column: Option<String>,
    /// Unit of the column, one of [`Unit::TIMES`].
    #[serde(default = "seconds")]
    pub unit: Unit,
    /// Rows a second where there is no time column.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rate_hz: Option<f64>,
    /// What a time that is repeated from row to row means.
    #[serde(default)]
    pub repeated: RepeatedTime,
}

/// What a time that is repeated from row to row means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RepeatedTime {
    /// A fault of the log: it is refused.
    #[default]
    Refuse,
    /// The clock is coarser than the rows: they are spread evenly until the next tick.
    Spread,
}

/// What in the log speaks of fuel need.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EvidenceKind {
    /// Lambda against its target.
    #[default]
    Lambda,
    /// Closed-loop trims alone: the controller holds lambda on target, its trims are the need.
    Trims,
    /// Lambda against its target, with the closed-loop trims that were at work.
    LambdaAndTrims,
}

/// Which source column is which quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChannelMap {
    /// The clock.
    pub time: TimeChannel,
    /// The columns in use, by quantity.
    pub channels: BTreeMap<Quantity, Channel>,
    /// What speaks of fuel need.
    #[serde(default)]
    pub evidence: EvidenceKind,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde hands the field over by reference"
)]
fn is_false(flag: &bool) -> bool {
    !flag
}

fn one() -> f64 {
    1.0
}

fn seconds() -> Unit {
    Unit::S
}
