//! From correction to the change that may be proposed.

mod check;

use baytrim_model::axis::Axes;
use baytrim_model::limits::Limits;
use baytrim_model::proposal::NodeChange;
use baytrim_model::table::BaseTable;

pub use check::LimitError;

/// What the fit says of each node, every list in node order.
#[derive(Debug, Clone, Copy)]
pub struct NodeEstimates<'a> {
    /// Natural logarithm of the fuel multiplier that the base table needs.
    pub theta: &'a [f64],
    /// Standard error of `theta` without the sensor's bias, ln units, at least 0.
    pub standard_error: &'a [f64],
    /// Standard deviation of the sensor's bias, common to all nodes, ln units, at least 0.
    pub sensor_error: f64,
    /// Seconds of accepted footprint weight; 0 marks a node that was never visited.
    pub dwell_s: &'a [f64],
    /// Separate visits.
    pub visits: &'a [u32],
    /// How much of `theta` is measured at the node itself, 0 to 1.
    pub measured_fraction: &'a [f64],
}

/// Returns what is proposed for every node, in node order.
///
/// `table` is the base table, `head_values` the revision in force (table unit, node order).
///
/// # Errors
/// Names the first input that has the wrong length or lies outside its range.
pub fn propose_nodes(
    axes: &Axes,
    table: &BaseTable,
    target_lambda: &[f64],
    limits: &Limits,
    head_values: &[f64],
    estimates: &NodeEstimates<'_>,
) -> Result<Vec<NodeChange>, LimitError> {
    check::inputs(axes, table, target_lambda, limits, head_values, estimates)?;
    unimplemented!("the body follows")
}
