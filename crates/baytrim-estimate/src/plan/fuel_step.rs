//! A short guided pull that tells the delay: fuel is stepped while the engine is held.
//!
//! A step of fuel at a known time is the edge that delay and lag are read from. Two places of different exhaust
//! flow tell cycles and gas volume apart: one delay could be either.

use crate::fit::Fit;
use crate::flow::plate_filling;

use super::{PlanQuestion, safe_nodes};

/// Size of a step, percent of fuel: richer only, several times the noise, and harmless under light load.
const STEP_PERCENT: f64 = 5.0;
/// Seconds that fuel stays stepped, and stays off again: long against delay, lag and wall film together.
const STEP_S: f64 = 3.0;
/// Steps at each place.
const STEPS: u32 = 2;
/// Seconds to get there and settle.
const APPROACH_S: f64 = 5.0;
/// No long hold above this plate opening: heat. Common practice.
const PLATE_PERCENT_MAX: f64 = 60.0;
/// Least ratio of the two places' flows, else one place is enough.
const FLOW_RATIO_MIN: f64 = 1.5;

/// A hold during which fuel is stepped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FuelStep {
    /// Speed that is held.
    pub rpm: f64,
    /// Plate opening, percent.
    pub plate_percent: f64,
    /// Size of a step, percent of fuel, richer.
    pub step_percent: f64,
    /// How often fuel is stepped and put back.
    pub step_count: u32,
    /// Seconds that a step lasts, and that fuel stays back after it.
    pub step_s: f64,
    /// Seconds of the steps.
    pub run_s: f64,
    /// Seconds with getting there and settling.
    pub total_s: f64,
}

/// Returns where to step fuel: two visited places that are known to be safe, a third of them below the first in
/// exhaust flow and a third above the second; fewer where there is no more.
///
/// # Panics
/// When a per-node list has not one value per node.
pub fn fuel_steps(fit: &Fit, question: &PlanQuestion<'_>) -> Vec<FuelStep> {
    let axes = question.axes;
    assert_eq!(
        question.log_trim.len(),
        axes.node_count(),
        "one trim per node"
    );
    let safe = safe_nodes(fit, question);
    let rpm_max = axes.rpm.breakpoints().last().copied().unwrap_or(1.0);
    let shut = question.gates.overrun_plate_percent_max;
    let place = |node: usize| {
        let (rpm, plate_percent) = axes.position(node);
        let holds = (shut..=PLATE_PERCENT_MAX).contains(&plate_percent) && plate_percent > shut;
        let flow = rpm * plate_filling(rpm, plate_percent, rpm_max);
        (safe[node] && fit.visits[node] > 0 && holds).then_some((flow, rpm, plate_percent))
    };
    let mut places: Vec<(f64, f64, f64)> = (0..safe.len()).filter_map(place).collect();
    places.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some(last) = places.len().checked_sub(1) else {
        return Vec::new();
    };
    let (low, high) = (places[last / 3], places[last - last / 3]);
    let mut chosen = vec![low];
    if high.0 >= FLOW_RATIO_MIN * low.0 {
        chosen.push(high);
    }
    let step = |(_, rpm, plate_percent): (f64, f64, f64)| {
        let run_s = 2.0 * STEP_S * f64::from(STEPS);
        FuelStep {
            rpm,
            plate_percent,
            step_percent: STEP_PERCENT,
            step_count: STEPS,
            step_s: STEP_S,
            run_s,
            total_s: run_s + APPROACH_S,
        }
    };
    chosen.into_iter().map(step).collect()
}
