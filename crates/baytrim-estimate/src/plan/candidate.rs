//! Runs that a plan may choose from.

use crate::posterior::Posterior;

use super::PlanQuestion;

/// Seconds of a hold. Two lengths of an episode and more: longer ones tell little more.
const HOLD_S: f64 = 6.0;
/// Seconds of a hold at a large plate opening: heat. Common practice.
const HEAVY_HOLD_S: f64 = 3.0;
/// Plate opening from which holds are short, percent.
const HEAVY_PLATE_PERCENT: f64 = 60.0;
/// Seconds to get to a run and let the wall film settle.
const APPROACH_S: f64 = 4.0;
/// Seconds that a sweep spends from one node to the next, each way.
const SWEEP_NODE_S: f64 = 0.8;
/// Fewest nodes of a sweep.
const SWEEP_NODES_MIN: usize = 3;
/// Standard deviation of what delay and film leave in a node's need after a sweep up and down, ln units: about
/// the accuracy of such sweeps on simulated engines (`benches/accuracy.rs`).
const SWEEP_ERROR: f64 = 0.008;

/// A run with what it would tell.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    pub(super) from_rpm: f64,
    pub(super) to_rpm: f64,
    pub(super) plate_percent: f64,
    pub(super) run_s: f64,
    pub(super) total_s: f64,
    /// Nodes that it reads, with the variance of each reading.
    pub(super) nodes: Vec<(usize, f64)>,
}

/// Returns holds at every safe node and sweeps along every safe stretch of a plate opening: whole, and its halves.
pub(super) fn candidates(
    question: &PlanQuestion<'_>,
    safe: &[bool],
    posterior: &Posterior,
) -> Vec<Candidate> {
    let axes = question.axes;
    let mut all = Vec::new();
    for plate in 0..axes.plate_percent.len() {
        let plate_percent = axes.plate_percent.breakpoints()[plate];
        let run_s = if plate_percent >= HEAVY_PLATE_PERCENT {
            HEAVY_HOLD_S
        } else {
            HOLD_S
        };
        let mut stretch = Vec::new();
        for speed in 0..=axes.rpm.len() {
            let node = (speed < axes.rpm.len()).then(|| axes.node(speed, plate));
            if let Some(node) = node.filter(|&node| safe[node]) {
                stretch.push(node);
                let rpm = axes.rpm.breakpoints()[speed];
                all.push(Candidate {
                    from_rpm: rpm,
                    to_rpm: rpm,
                    plate_percent,
                    run_s,
                    total_s: run_s + APPROACH_S,
                    nodes: vec![(node, posterior.stay_variance(run_s))],
                });
                continue;
            }
            let (left, right) = stretch.split_at(stretch.len() / 2);
            for part in [&stretch[..], left, right] {
                all.extend(sweep(question, part, posterior));
            }
            stretch.clear();
        }
    }
    all
}

fn sweep(question: &PlanQuestion<'_>, nodes: &[usize], posterior: &Posterior) -> Option<Candidate> {
    let (first, last) = (*nodes.first()?, *nodes.last()?);
    if nodes.len() < SWEEP_NODES_MIN {
        return None;
    }
    let (from_rpm, plate_percent) = question.axes.position(first);
    let (to_rpm, _) = question.axes.position(last);
    let run_s = (2.0 * SWEEP_NODE_S * (nodes.len() - 1) as f64).ceil();
    let variance = 0.5 * posterior.stay_variance(SWEEP_NODE_S) + SWEEP_ERROR * SWEEP_ERROR;
    Some(Candidate {
        from_rpm,
        to_rpm,
        plate_percent,
        run_s,
        total_s: run_s + APPROACH_S,
        nodes: nodes.iter().map(|&node| (node, variance)).collect(),
    })
}
