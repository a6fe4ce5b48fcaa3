//! What reading a pull needs to know of its job.

use baytrim_model::axis::Axes;
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::EvidenceKind;
use baytrim_model::engine::Engine;
use baytrim_model::gate::GateSettings;
use baytrim_model::job::JobSpec;
use baytrim_model::table::BaseTable;

/// What reading a pull needs to know of its job.
#[derive(Debug, Clone, Copy)]
pub struct PullContext<'a> {
    /// Engine facts.
    pub engine: &'a Engine,
    /// The table's axes.
    pub axes: &'a Axes,
    /// Lambda wanted at each node, in node order.
    pub target_lambda: &'a [f64],
    /// The table that the vehicle came with.
    pub table: &'a BaseTable,
    /// ln(fuel in force during the pull / fuel of the base table) at each node, in node order.
    pub trim_in_force: &'a [f64],
    /// Parameters of the gates.
    pub gates: &'a GateSettings,
    /// Where the delay comes from.
    pub delay: DelayChoice,
    /// What in the log speaks of fuel need.
    pub evidence: EvidenceKind,
}

impl<'a> PullContext<'a> {
    /// Returns what a job says itself, for a pull with `trim_in_force` (ln, one value per node in node order): the delay
    /// is to be identified, and lambda alone speaks of fuel need.
    pub fn of_job(spec: &'a JobSpec, trim_in_force: &'a [f64]) -> Self {
        Self {
            engine: &spec.engine,
            axes: &spec.axes,
            target_lambda: &spec.target_lambda,
            table: &spec.table,
            trim_in_force,
            gates: &spec.gates,
            delay: DelayChoice::Identify,
            evidence: EvidenceKind::Lambda,
        }
    }
}
