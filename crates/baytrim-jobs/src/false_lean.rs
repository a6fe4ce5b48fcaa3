//! What a proposal makes of readings that are lean for another reason than too little fuel.

use baytrim_estimate::{FalseLean, Posterior, PullContext, PullEvidence, Suspect, false_lean};
use baytrim_model::ids::PullId;

use crate::propose::misfit;
use crate::refusal::Refusal;
use crate::state::JobState;

/// From this probability on no fuel is added where a suspicion bears on the answer.
pub const REFUSED_FROM: f64 = 0.95;
/// From this probability on a suspicion is told.
pub const TOLD_FROM: f64 = 0.5;

/// What is doubted.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Doubts {
    /// By node, whether no fuel may be added.
    pub(crate) nodes: Vec<bool>,
    /// What a reviewer is told.
    pub(crate) remarks: Vec<String>,
}

/// Returns what is to be doubted of the fit of `pulls`.
///
/// # Errors
/// When the evidence does not fit the job.
pub(crate) fn doubts(
    state: &JobState,
    pulls: &[PullId],
    evidence: &[&PullEvidence],
    posterior: &Posterior,
) -> Result<Doubts, Refusal> {
    let spec = &state.spec;
    let trim = vec![0.0; spec.axes.node_count()];
    let context = PullContext::of_job(spec, &trim);
    let suspects = false_lean(&context, evidence, posterior);
    let suspects = suspects.map_err(|error| misfit(error.to_string()))?;
    let mut doubts = Doubts {
        nodes: vec![false; trim.len()],
        remarks: Vec::new(),
    };
    for suspect in suspects {
        let refused = suspect.probability >= REFUSED_FROM;
        if suspect.probability >= TOLD_FROM {
            doubts.remarks.push(remark(&suspect, pulls, refused));
        }
        if refused {
            for &node in &suspect.nodes {
                doubts.nodes[node] = true;
            }
        }
    }
    Ok(doubts)
}

fn remark(suspect: &Suspect, pulls: &[PullId], refused: bool) -> String {
    let pull = suspect.pull.and_then(|place| pulls.get(place));
    let pull = pull.map_or_else(String::new, ToString::to_string);
    let at = suspect.at_s.unwrap_or_default();
    let size = 100.0 * suspect.size.abs();
    let evidence = match suspect.cause {
        FalseLean::Leak => format!(
            "Readings are lean as 1 over the exhaust flow, by {size:.0} % where least flows, as false air from a leak makes them"
        ),
        FalseLean::SecondaryAir => format!(
            "Until {at:.0} s {pull} reads {size:.0} % leaner than the same places later, as secondary air makes it"
        ),
        FalseLean::LostCylinder => format!(
            "From {at:.0} s on at the latest {pull} reads {:.0} % leaner than the same places before, as a cylinder without fuel or spark makes it",
            100.0 * suspect.size.exp_m1()
        ),
        FalseLean::Misfire => format!(
            "{pull} strays lean in short bursts, {size:.1} % of its time, and hardly ever rich, as a misfire makes it"
        ),
        FalseLean::SensorDrift => format!(
            "{pull} drifts by {size:.1} % from its start to its end, as an ageing sensor does"
        ),
    };
    let remedy = match suspect.cause {
        FalseLean::Leak => "check the joints before the sensor and pull again",
        FalseLean::SecondaryAir => "block it off, or log its flag, and pull again",
        FalseLean::LostCylinder => "find the cylinder, and pull again",
        FalseLean::Misfire => "check plugs, coils and mixture, and pull again",
        FalseLean::SensorDrift => "check the sensor in air, and pull again",
    };
    let deed = if refused {
        let nodes = suspect.nodes.len();
        format!("No fuel is added at the {nodes} nodes that rest on it")
    } else {
        "It is not sure enough to hold fuel back".to_owned()
    };
    let sure = (100.0 * suspect.probability).min(99.9);
    format!("{evidence} ({sure:.0} % likely). {deed}: {remedy}.")
}
