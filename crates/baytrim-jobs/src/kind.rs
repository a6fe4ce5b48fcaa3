//! What a job's vehicle shares with another's, and what its kind tells the fit of its pulls.

use baytrim_estimate::limit::least_fuel;
use baytrim_estimate::{
    Fit, FitSettings, Posterior, PullEvidence, disagreement, fit_of_kind, fit_whole,
};
use baytrim_model::ids::RevisionId;
use baytrim_model::job::JobSpec;
use baytrim_model::library::{StartingTable, Vehicle};
use baytrim_model::revision::RevisionOrigin;

use crate::propose::misfit;
use crate::refusal::Refusal;
use crate::state::JobState;

/// Displacements within this share are of one engine: makers round.
const DISPLACEMENT_SHARE: f64 = 0.03;
/// Fuels whose stoichiometric ratios are within this share are converted; past it, one is another fuel.
const FUEL_SHARE: f64 = 0.05;
/// Chance below which pulls contradict what the kind tells.
const CHANCE_MIN: f64 = 0.01;

/// How far two vehicles of one kind are alike: parts as they are compared, by name.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Likeness {
    /// Parts that both have.
    pub shared: Vec<String>,
    /// Parts that only the job's vehicle has.
    pub only_here: Vec<String>,
    /// Parts that only the other has.
    pub only_there: Vec<String>,
}

impl Likeness {
    /// Returns the number of parts that differ.
    pub fn distance(&self) -> usize {
        self.only_here.len() + self.only_there.len()
    }

    /// Returns why the other is as near as it is, in words.
    pub fn sentence(&self) -> String {
        let mut said = vec![match (self.distance(), self.shared.is_empty()) {
            (0, true) => "the same kind, both as they left their maker".to_owned(),
            (0, false) => format!("the same kind and parts: {}", self.shared.join(", ")),
            (1, _) => "the same kind, one part differs".to_owned(),
            (count, _) => format!("the same kind, {count} parts differ"),
        }];
        if !self.only_here.is_empty() {
            said.push(format!("without {}", self.only_here.join(", ")));
        }
        if !self.only_there.is_empty() {
            said.push(format!("with {}", self.only_there.join(", ")));
        }
        said.join("; ")
    }
}

/// Returns how far the vehicles of two jobs are alike; none where they are of different kinds, or a job does not say
/// what its vehicle is.
pub fn likeness(here: &JobSpec, there: &JobSpec) -> Option<Likeness> {
    let (own, other) = (here.vehicle.as_ref()?, there.vehicle.as_ref()?);
    let near = |a: f64, b: f64, share: f64| (a / b).ln().abs() <= share;
    let (engine, theirs) = (&here.engine, &there.engine);
    let (cc, their_cc) = (engine.displacement_cc, theirs.displacement_cc);
    let (afr, their_afr) = (here.fuel.stoichiometric_afr, there.fuel.stoichiometric_afr);
    let is_kind = own.kind() == other.kind()
        && engine.strokes == theirs.strokes
        && engine.cylinders == theirs.cylinders
        && near(cc, their_cc, DISPLACEMENT_SHARE)
        && near(afr, their_afr, FUEL_SHARE);
    is_kind.then(|| compared(own, other))
}

fn compared(own: &Vehicle, other: &Vehicle) -> Likeness {
    let (here, there) = (own.plain_parts(), other.plain_parts());
    let without = |parts: &[String], others: &[String]| -> Vec<String> {
        let parts = parts.iter().filter(|part| !others.contains(part));
        parts.cloned().collect()
    };
    Likeness {
        shared: here
            .iter()
            .filter(|part| there.contains(part))
            .cloned()
            .collect(),
        only_here: without(&here, &there),
        only_there: without(&there, &here),
    }
}

impl JobState {
    /// Returns the starting table that a revision came of, through all that was approved since; none where there is
    /// none, or the table was put back to before it.
    pub fn start_of(&self, revision: RevisionId) -> Option<&StartingTable> {
        let mut at = revision;
        loop {
            match &self.revision(at).ok()?.origin {
                RevisionOrigin::Base => return None,
                // A revert puts back what was before it: numbers only fall.
                RevisionOrigin::Revert { to } => at = *to,
                RevisionOrigin::Approval { proposal } => {
                    let entry = self.proposal(*proposal).ok()?;
                    if let Some(start) = &entry.proposal.start {
                        return Some(start);
                    }
                    at = entry.proposal.base_revision;
                }
            }
        }
    }
}

/// A fit with what is known besides.
#[derive(Debug, Clone)]
pub(crate) struct Fitted {
    /// The fit.
    pub(crate) fit: Fit,
    /// What it leaves unknown.
    pub(crate) posterior: Posterior,
    /// The least fuel that this engine's own pulls prove to be enough; empty where the fit rests on nothing else.
    pub(crate) least_fuel: Vec<f64>,
    /// What is to be said of the kind.
    pub(crate) remark: Option<String>,
}

/// Fits `evidence` for a table of `revision`, with what the kind tells where the revision came of a starting table
/// and the pulls do not contradict it.
///
/// # Errors
/// When the evidence does not fit the job.
pub(crate) fn fitted(
    state: &JobState,
    revision: RevisionId,
    evidence: &[&PullEvidence],
    settings: &FitSettings,
) -> Result<Fitted, Refusal> {
    let axes = &state.spec.axes;
    let wrong = |error: baytrim_estimate::FitError| misfit(error.to_string());
    let (own, posterior) = fit_whole(axes, evidence, settings).map_err(wrong)?;
    let alone = |own: Fit, posterior: Posterior, remark| Fitted {
        fit: own,
        posterior,
        least_fuel: Vec::new(),
        remark,
    };
    let Some(start) = state.start_of(revision) else {
        return Ok(alone(own, posterior, None));
    };
    let told = posterior.need_evidence(evidence);
    let told = told.and_then(|told| disagreement(axes, &told, &start.prior));
    let Some(found) = told else {
        let remark = "What the kind tells could not be held against the pulls and is left aside.";
        return Ok(alone(own, posterior, Some(remark.to_owned())));
    };
    let count = start.prior.vehicle_count;
    let figures = format!(
        "chi-square {:.0} of {}, chance {}",
        found.chi_square,
        found.freedom,
        chance_words(found.chance)
    );
    if found.chance < CHANCE_MIN {
        let remark = format!(
            "The pulls contradict what {count} of the kind tell ({figures}): the kind is left aside. Look whether model and parts are as the job says, and whether the engine and the sensor are sound."
        );
        return Ok(alone(own, posterior, Some(remark)));
    }
    let (fit, posterior) = fit_of_kind(axes, evidence, settings, &start.prior).map_err(wrong)?;
    Ok(Fitted {
        least_fuel: least_fuel(&own, state.spec.limits.lean_confidence),
        fit,
        posterior,
        remark: Some(format!(
            "{count} of the kind stand behind the estimate besides its own pulls, which agree with them ({figures}); fuel is taken away only as far as its own pulls prove."
        )),
    })
}

fn chance_words(chance: f64) -> String {
    if chance < 0.001 {
        "below 0.1 %".to_owned()
    } else {
        format!("{:.1} %", 100.0 * chance)
    }
}
