//! What the limiter refuses to work on.

use baytrim_model::axis::Axes;
use baytrim_model::field::FieldError;
use baytrim_model::limits::Limits;
use baytrim_model::table::BaseTable;

use super::NodeEstimates;

/// Why no changes could be worked out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LimitError {
    /// A per-node list does not have one entry per node.
    #[error("{list} has {count} entries where the axes have {expected} nodes; give one per node")]
    Length {
        /// The list.
        list: &'static str,
        /// Its entries.
        count: usize,
        /// The nodes of the axes.
        expected: usize,
    },
    /// A number of a per-node list lies outside its range.
    #[error(
        "{list} of node {node} is {value}, outside {low} to {high}; \
         refit, or check the table that it came from"
    )]
    Range {
        /// The list.
        list: &'static str,
        /// The node.
        node: usize,
        /// The number.
        value: f64,
        /// Smallest that is taken.
        low: f64,
        /// Largest that is taken.
        high: f64,
    },
    /// A table asks for no fuel, or less, at a node.
    #[error(
        "{list} of node {node} is {value}, which asks for no fuel; correct or revert that table"
    )]
    NoFuel {
        /// The list that holds the table.
        list: &'static str,
        /// The node.
        node: usize,
        /// The value.
        value: f64,
    },
    /// The limits or the base table are themselves at fault.
    #[error("the job's limits or base table cannot be used; correct the job")]
    Setting(#[source] FieldError),
}

/// Largest number that is taken for an estimate or a standard error, ln units: far past any engine,
/// and small enough that sums and products of a few stay finite.
const LN_MAX: f64 = 1e6;

/// Most seconds of dwell that are believed: thirty years.
const DWELL_S_MAX: f64 = 1e9;

/// Returns the first fault of the inputs, or nothing.
pub(super) fn inputs(
    axes: &Axes,
    table: &BaseTable,
    target_lambda: &[f64],
    limits: &Limits,
    head_values: &[f64],
    estimates: &NodeEstimates<'_>,
) -> Result<(), LimitError> {
    settings(axes, table, limits)?;
    let count = axes.node_count();
    length("visits", estimates.visits.len(), count)?;
    if !estimates.false_lean.is_empty() {
        length("false_lean", estimates.false_lean.len(), count)?;
    }
    if !estimates.least_fuel.is_empty() {
        let least = estimates.least_fuel;
        ranges("least_fuel", least, count, (-LN_MAX, LN_MAX))?;
    }
    let sensor = [estimates.sensor_error];
    ranges("sensor_error", &sensor, 1, (0.0, LN_MAX))?;
    ranges("target_lambda", target_lambda, count, (0.5, 2.0))?;
    ranges("theta", estimates.theta, count, (-LN_MAX, LN_MAX))?;
    let errors = estimates.standard_error;
    ranges("standard_error", errors, count, (0.0, LN_MAX))?;
    ranges("dwell_s", estimates.dwell_s, count, (0.0, DWELL_S_MAX))?;
    let measured = estimates.measured_fraction;
    ranges("measured_fraction", measured, count, (0.0, 1.0))?;
    fuelled("head_values", table, head_values, count)
}

/// Returns the first fault of the job's own settings, or nothing.
pub(super) fn settings(axes: &Axes, table: &BaseTable, limits: &Limits) -> Result<(), LimitError> {
    let problems = table.problems(axes).into_iter().chain(limits.problems());
    match problems.into_iter().next() {
        Some(problem) => Err(LimitError::Setting(problem)),
        None => Ok(()),
    }
}

/// Returns the first node of `values` that gets no fuel, or nothing.
pub(super) fn fuelled(
    list: &'static str,
    table: &BaseTable,
    values: &[f64],
    expected: usize,
) -> Result<(), LimitError> {
    length(list, values.len(), expected)?;
    let no_fuel = |value: &f64| {
        let fuel = table.content.fuel(*value);
        !(fuel.is_finite() && fuel > 0.0 && value.abs() < 1e6)
    };
    match values.iter().position(no_fuel) {
        Some(node) => Err(LimitError::NoFuel {
            list,
            node,
            value: values[node],
        }),
        None => Ok(()),
    }
}

fn length(list: &'static str, count: usize, expected: usize) -> Result<(), LimitError> {
    if count == expected {
        return Ok(());
    }
    Err(LimitError::Length {
        list,
        count,
        expected,
    })
}

fn ranges(
    list: &'static str,
    values: &[f64],
    expected: usize,
    (low, high): (f64, f64),
) -> Result<(), LimitError> {
    length(list, values.len(), expected)?;
    match values
        .iter()
        .position(|value| !(low..=high).contains(value))
    {
        Some(node) => Err(LimitError::Range {
            list,
            node,
            value: values[node],
            low,
            high,
        }),
        None => Ok(()),
    }
}
