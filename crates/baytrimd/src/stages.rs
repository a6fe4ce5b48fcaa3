//! Comparing stages: fetches the evidence, lets `baytrim-jobs` compare.

use std::sync::Arc;

use baytrim_estimate::PullEvidence;
use baytrim_jobs::JobState;
use baytrim_jobs::stage_comparison::{StageComparison, StagePulls, compare_stages, pulls_of};
use baytrim_model::ids::{PullId, StageId};

use crate::fault::Fault;
use crate::shop::{Loaded, Shop};

/// Returns how two stages of a job compare.
///
/// # Errors
/// When there is no such stage, one has no pull, or evidence can't be had any more.
pub fn compare(
    shop: &Shop,
    job: &Loaded,
    from: StageId,
    to: StageId,
) -> Result<StageComparison, Fault> {
    let (one, other) = (evidence(shop, job, from)?, evidence(shop, job, to)?);
    let sides = [side(from, &one), side(to, &other)];
    Ok(compare_stages(&job.state, &sides[0], &sides[1])?)
}

/// Returns how the last stage of a job that has pulls compares with the first; none where fewer than two have.
///
/// # Errors
/// When evidence can't be had any more.
pub fn first_to_last(shop: &Shop, job: &Loaded) -> Result<Option<StageComparison>, Fault> {
    match ends(&job.state) {
        Some((from, to)) => compare(shop, job, from, to).map(Some),
        None => Ok(None),
    }
}

/// Returns the first and the last stage that pulls speak for; none where fewer than two do.
pub fn ends(state: &JobState) -> Option<(StageId, StageId)> {
    let mut stages = state.stages.iter().map(|entry| entry.stage.id);
    let told = |stage: &StageId| pulls_of(state, *stage).is_ok();
    let first = stages.find(told)?;
    let last = stages.rev().find(told)?;
    Some((first, last))
}

/// Pulls with their evidence, held.
type Held = Vec<(PullId, Arc<PullEvidence>)>;

fn evidence(shop: &Shop, job: &Loaded, stage: StageId) -> Result<Held, Fault> {
    let pulls = pulls_of(&job.state, stage)?;
    let evidence = shop.evidence().of_pulls(&**shop.store(), job, &pulls)?;
    Ok(pulls.into_iter().zip(evidence).collect())
}

fn side(stage: StageId, held: &Held) -> StagePulls<'_> {
    let pulls = held.iter().map(|(id, evidence)| (*id, &**evidence));
    StagePulls {
        stage,
        pulls: pulls.collect(),
    }
}
