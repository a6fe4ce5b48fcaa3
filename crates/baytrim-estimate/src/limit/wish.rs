//! What a node would like, before any limit but those that forbid a change altogether.

use baytrim_model::limits::{LimitName, Limits};
use baytrim_model::proposal::NodeStatus;

use super::NodeEstimates;

/// Largest exponent that is taken, so that every number of a proposal is finite: a factor of 4.9e8.
const EXPONENT_MAX: f64 = 20.0;

/// A shortfall below this is the last bits of a logarithm, not fuel.
pub(super) const ROUNDING_PERCENT: f64 = 1e-6;

/// Returns `exp(x)`, kept finite and above 0.
pub(super) fn bounded_exp(x: f64) -> f64 {
    x.clamp(-EXPONENT_MAX, EXPONENT_MAX).exp()
}

/// Returns `exp(x) - 1` in percent, kept finite.
pub(super) fn percent(x: f64) -> f64 {
    100.0 * x.clamp(-EXPONENT_MAX, EXPONENT_MAX).exp_m1()
}

/// Which way a node may move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Course {
    /// Not at all, for this reason.
    Hold(NodeStatus),
    /// Fuel may be added.
    Richer,
    /// Fuel may be taken away.
    Leaner,
}

/// What one node would like.
#[derive(Debug, Clone)]
pub(super) struct Wish {
    /// Fuel change that brings the estimate to target, ln units.
    pub(super) change: f64,
    /// Which way it may move.
    pub(super) course: Course,
    /// What forbids a change, or is to be known of it, so far.
    pub(super) reasons: Vec<LimitName>,
}

/// Returns the wish of `node`, whose table in force has `tau` (ln units) more fuel than the base.
pub(super) fn wish(limits: &Limits, estimates: &NodeEstimates<'_>, node: usize, tau: f64) -> Wish {
    let change = estimates.theta[node] - tau;
    let unvisited = estimates.dwell_s[node] <= 0.0;
    if unvisited && !limits.borrowed_changes {
        return Wish {
            change,
            course: Course::Hold(NodeStatus::Unvisited),
            reasons: vec![LimitName::Borrowed],
        };
    }
    let size_percent = percent(change).abs();
    let small = size_percent < limits.deadband_percent.max(ROUNDING_PERCENT);
    let unsure = 100.0 * estimates.standard_error[node] > limits.standard_error_percent_max;
    let few = !unvisited && estimates.visits[node] < limits.visits_min;
    // What was never measured proves nothing, whatever its standard error says.
    let baseless = unvisited && change < 0.0 && !small;
    let doubted = change > 0.0 && !small && estimates.looks_lean(node);
    let reasons = [
        (LimitName::LeanProof, baseless),
        (LimitName::FalseLean, doubted),
        (
            LimitName::Deadband,
            small && size_percent >= ROUNDING_PERCENT,
        ),
        (LimitName::StandardError, unsure),
        (LimitName::Visits, few),
        (LimitName::Borrowed, unvisited),
    ];
    let held = small || unsure || few || baseless || doubted;
    let course = match (held, unvisited) {
        (true, true) => Course::Hold(NodeStatus::Unvisited),
        (true, false) if small => Course::Hold(NodeStatus::OnTarget),
        (true, false) => Course::Hold(NodeStatus::Unproven),
        (false, _) if change > 0.0 => Course::Richer,
        (false, _) => Course::Leaner,
    };
    Wish {
        change,
        course,
        reasons: reasons
            .into_iter()
            .filter_map(|(name, bites)| bites.then_some(name))
            .collect(),
    }
}
