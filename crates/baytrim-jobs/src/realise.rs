//! Asking a pull which of the job's revisions was loaded, before anything is fitted to it.

use baytrim_estimate::{
    FitSettings, LoadedAnswer, LoadedQuestion, PullEvidence, PullReading, which_loaded,
};
use baytrim_model::ids::{PullId, RevisionId};
use baytrim_model::pull::{LoadedChance, PullWarning, Realised, RealisedNode, RealisedShare};
use baytrim_model::revision::TableKind;

use crate::pulls::Circumstances;
use crate::refusal::Refusal;
use crate::state::{JobState, PullEntry};

/// Code of the warning that the revision before is probably still loaded.
pub const NOT_LOADED: &str = "table_probably_not_loaded";
/// Code of the warning that another revision is probably loaded.
pub const OTHER_LOADED: &str = "other_revision_probably_loaded";

/// Most revisions that are asked for, newest first.
const REVISIONS_MAX: usize = 16;
/// A pull is warned of when what was stated is less likely than this.
const STATED_PROBABILITY_MIN: f64 = 0.5;

/// Returns the pulls that may predict what the engine does now: sound ones with the parts that are fitted now.
pub fn predicting_pulls(state: &JobState) -> Vec<PullId> {
    let present = |id: &PullId| {
        state
            .pull(*id)
            .is_ok_and(|pull| state.has_present_parts(pull))
    };
    let mut pulls = sound_pulls(state);
    pulls.retain(present);
    pulls
}

/// Returns the pulls that were not themselves warned of.
pub fn sound_pulls(state: &JobState) -> Vec<PullId> {
    let doubted = |pull: &&PullEntry| {
        let mut warnings = pull.record.summary.warnings.iter();
        warnings.any(|warning| warning.code == NOT_LOADED || warning.code == OTHER_LOADED)
    };
    let pulls = state.pulls.iter().filter(|pull| !doubted(pull));
    pulls.map(|pull| pull.record.id).collect()
}

/// Compares `reading` with what `pulls`, with their `evidence`, predict, and notes the outcome in its summary.
///
/// Does nothing where there is nothing to compare with.
///
/// # Errors
/// When the evidence does not fit the job.
pub fn compare(
    state: &JobState,
    circumstances: &Circumstances,
    pulls: &[PullId],
    evidence: &[&PullEvidence],
    reading: &mut PullReading,
) -> Result<(), Refusal> {
    let asked = asked(state, circumstances.revision);
    if pulls.is_empty() || asked.len() < 2 {
        return Ok(());
    }
    let stated = circumstances.revision;
    let Some(previous) = near(state, stated) else {
        return Ok(());
    };
    let place = |id: RevisionId| asked.iter().position(|&revision| revision == id);
    let (Some(stated_place), Some(previous_place)) = (place(stated), place(previous)) else {
        return Ok(());
    };
    let log_trims = asked
        .iter()
        .map(|&id| Ok(state.log_trim(state.revision(id)?)));
    let log_trims = log_trims.collect::<Result<Vec<_>, Refusal>>()?;
    let known = |entry: &&PullEntry| pulls.contains(&entry.record.id);
    let mut bays = state
        .pulls
        .iter()
        .filter(known)
        .map(|entry| &entry.record.bay);
    let question = LoadedQuestion {
        log_trims: &log_trims,
        stated: stated_place,
        previous: previous_place,
        target_lambda: &state.spec.target_lambda,
        other_bay: bays.all(|bay| *bay != circumstances.bay),
    };
    let settings = FitSettings::default();
    let axes = &state.spec.axes;
    let answer = which_loaded(axes, evidence, &reading.evidence, &question, &settings)
        .map_err(|error| Refusal::field("evidence", error.to_string(), "check the job's pulls"))?;
    if let Some(answer) = answer {
        let realised = realised(&answer, &asked, previous, pulls);
        let summary = &mut reading.summary;
        summary.warnings.extend(warning(&realised, stated));
        summary.realised = Some(realised);
    }
    Ok(())
}

/// Returns the revisions to ask for: the stated one, the one before it and the newest others.
fn asked(state: &JobState, stated: RevisionId) -> Vec<RevisionId> {
    let near = near(state, stated);
    let all = state.revisions_of(&TableKind::Fuel).rev();
    let all = all.map(|revision| revision.id);
    let (mut asked, others): (Vec<_>, Vec<_>) =
        all.partition(|&id| id == stated || Some(id) == near);
    let room = REVISIONS_MAX.saturating_sub(asked.len());
    asked.extend(others.into_iter().take(room));
    asked
}

/// Returns the revision before the stated one. Before the base table there is none: against it, the revision after
/// it is the likeliest mistake.
fn near(state: &JobState, stated: RevisionId) -> Option<RevisionId> {
    let ids = || {
        let fuel = state.revisions_of(&TableKind::Fuel);
        fuel.map(|revision| revision.id)
    };
    let before = ids().rev().find(|&id| id < stated);
    before.or_else(|| ids().find(|&id| id > stated))
}

fn realised(
    answer: &LoadedAnswer,
    asked: &[RevisionId],
    previous: RevisionId,
    pulls: &[PullId],
) -> Realised {
    let pairs = asked.iter().zip(&answer.probability);
    let mut loaded: Vec<LoadedChance> = pairs
        .map(|(&revision, &probability)| LoadedChance {
            revision,
            probability,
        })
        .collect();
    loaded.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let node = |node: &baytrim_estimate::loaded::RealisedNode| RealisedNode {
        node: node.node,
        previous_lambda: node.previous_lambda,
        predicted_lambda: node.predicted_lambda,
        realised_lambda: node.realised_lambda,
        error_percent: 100.0 * node.error,
    };
    Realised {
        pulls: pulls.to_vec(),
        previous,
        loaded,
        share: answer
            .realised_share
            .map(|(share, standard_error)| RealisedShare {
                share,
                standard_error,
            }),
        nodes: answer.nodes.iter().map(node).collect(),
    }
}

/// Returns the warning that a table was not loaded, or another one, where that is likelier than what was stated.
fn warning(realised: &Realised, stated: RevisionId) -> Option<PullWarning> {
    let chance = |id: RevisionId| {
        let mut loaded = realised.loaded.iter();
        loaded
            .find(|loaded| loaded.revision == id)
            .map_or(0.0, |loaded| loaded.probability)
    };
    if chance(stated) >= STATED_PROBABILITY_MIN {
        return None;
    }
    let likeliest = realised.loaded.first()?;
    let percent = percent(likeliest.probability);
    let remedy = format!(
        "check what was loaded; if it was {other}, send the log again with revision {other} and leave this pull out of proposals",
        other = likeliest.revision
    );
    let (code, what) = if likeliest.revision == realised.previous && stated.0 > 0 {
        let what = format!(
            "lambda did not move as {stated} predicts: with a probability of {percent} {} was still loaded",
            likeliest.revision
        );
        (NOT_LOADED, what)
    } else {
        let what = format!(
            "lambda fits another table than {stated}: with a probability of {percent} {} was loaded",
            likeliest.revision
        );
        (OTHER_LOADED, what)
    };
    Some(PullWarning {
        code: code.to_owned(),
        message: format!("{what}; {remedy}"),
    })
}

/// Returns a probability in words that never claim certainty.
fn percent(probability: f64) -> String {
    if probability > 0.999 {
        "more than 99.9 %".to_owned()
    } else {
        format!("{:.0} %", 100.0 * probability)
    }
}
