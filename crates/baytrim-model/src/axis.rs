//! The two axes of a fuel table and the numbering of its nodes.

use serde::{Deserialize, Serialize};

use crate::field::FieldError;

/// Most breakpoints on one axis; 64 x 64 nodes keep a proposal's answer below a second.
pub const AXIS_BREAKPOINTS_MAX: usize = 64;

/// Breakpoints of one axis: finite, strictly increasing, 2 to 64 of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Vec<f64>", into = "Vec<f64>")]
pub struct Axis(Vec<f64>);

impl Axis {
    /// Returns an axis over `breakpoints`.
    ///
    /// # Errors
    /// Names the first breakpoint that is not finite or not larger than the one before it,
    /// or the count when it is not 2 to 64. The field of the error is `name`.
    pub fn new(name: &str, breakpoints: Vec<f64>) -> Result<Self, FieldError> {
        if !(2..=AXIS_BREAKPOINTS_MAX).contains(&breakpoints.len()) {
            return Err(FieldError::new(
                name,
                format!("has {} breakpoints", breakpoints.len()),
                format!("give 2 to {AXIS_BREAKPOINTS_MAX}"),
            ));
        }
        if let Some(index) = breakpoints.iter().position(|value| !value.is_finite()) {
            return Err(FieldError::new(
                format!("{name}[{index}]"),
                format!("{} is not a finite number", breakpoints[index]),
                "write a plain number",
            ));
        }
        if let Some(index) = breakpoints.windows(2).position(|pair| pair[1] <= pair[0]) {
            return Err(FieldError::new(
                format!("{name}[{}]", index + 1),
                format!(
                    "{} does not exceed {} before it",
                    breakpoints[index + 1],
                    breakpoints[index]
                ),
                "list the breakpoints in increasing order, each once",
            ));
        }
        Ok(Self(breakpoints))
    }

    /// Returns the breakpoints in increasing order.
    pub fn breakpoints(&self) -> &[f64] {
        &self.0
    }

    /// Returns the number of breakpoints, 2 to 64.
    #[expect(clippy::len_without_is_empty, reason = "an axis is never empty")]
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Returns the smallest breakpoint.
    pub fn first(&self) -> f64 {
        self.0[0]
    }

    /// Returns the largest breakpoint.
    pub fn last(&self) -> f64 {
        self.0[self.0.len() - 1]
    }

    /// Returns the index of the breakpoint that equals `value` to within a millionth of the axis' span.
    pub fn find(&self, value: f64) -> Option<usize> {
        let tolerance = (self.last() - self.first()) * 1e-6;
        self.0
            .iter()
            .position(|breakpoint| (breakpoint - value).abs() <= tolerance)
    }
}

impl TryFrom<Vec<f64>> for Axis {
    type Error = FieldError;

    fn try_from(breakpoints: Vec<f64>) -> Result<Self, FieldError> {
        Self::new("axis", breakpoints)
    }
}

impl From<Axis> for Vec<f64> {
    fn from(axis: Axis) -> Self {
        axis.0
    }
}

/// The axes of a fuel table.
///
/// **Node order**, used by every per-node list of the project: plate by plate, and within a plate
/// rpm by rpm, so that node `plate_index * rpm.len() + rpm_index` is the node at
/// (`rpm[rpm_index]`, `plate_percent[plate_index]`).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Axes {
    /// Engine speed in revolutions a minute.
    pub rpm: Axis,
    /// Throttle plate opening in percent, 0 shut to 100 wide open.
    pub plate_percent: Axis,
}

impl Axes {
    /// Returns the number of nodes.
    pub fn node_count(&self) -> usize {
        self.rpm.len() * self.plate_percent.len()
    }

    /// Returns the node number of a pair of axis indices.
    pub fn node(&self, rpm_index: usize, plate_index: usize) -> usize {
        debug_assert!(rpm_index < self.rpm.len() && plate_index < self.plate_percent.len());
        plate_index * self.rpm.len() + rpm_index
    }

    /// Returns the axis indices (rpm, plate) of a node number.
    pub fn indices(&self, node: usize) -> (usize, usize) {
        (node % self.rpm.len(), node / self.rpm.len())
    }

    /// Returns the (rpm, plate percent) of a node number.
    pub fn position(&self, node: usize) -> (f64, f64) {
        let (rpm_index, plate_index) = self.indices(node);
        (
            self.rpm.breakpoints()[rpm_index],
            self.plate_percent.breakpoints()[plate_index],
        )
    }

    /// Returns the node at (rpm, plate percent), where there is one.
    pub fn find(&self, rpm: f64, plate_percent: f64) -> Option<usize> {
        Some(self.node(self.rpm.find(rpm)?, self.plate_percent.find(plate_percent)?))
    }

    /// Returns the pairs of nodes that are next to each other along one axis, each pair once.
    pub fn neighbours(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        (0..self.node_count()).flat_map(|node| {
            let (rpm_index, plate_index) = self.indices(node);
            let right = (rpm_index + 1 < self.rpm.len()).then_some((node, node + 1));
            let above = (plate_index + 1 < self.plate_percent.len())
                .then_some((node, node + self.rpm.len()));
            right.into_iter().chain(above)
        })
    }
}
