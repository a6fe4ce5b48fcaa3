//! Two stages of a job, one against the other: how far lambda is off target in each, and whether the difference is
//! more than repeated pulls differ by.

mod power;
mod repeat;

use baytrim_estimate::{Fit, Posterior, PullEvidence, fit_whole};
use baytrim_model::ids::{PullId, RevisionId, StageId};
use baytrim_power::compare;

use crate::propose::{TOLERANCE_PERCENT, misfit};
use crate::realise::sound_pulls;
use crate::refusal::Refusal;
use crate::sensors;
use crate::state::{JobState, PullEntry};
use crate::verdict::BORROWED_BELOW;

pub use baytrim_power::{Comparison, Verdict};
pub use power::StagePower;
pub use repeat::Repeatability;

/// What two stages of a job come to.
#[derive(Debug, Clone, PartialEq)]
pub struct StageComparison {
    /// The stages, the earlier side first.
    pub stages: [StageFound; 2],
    /// Every node of the table, in node order.
    pub nodes: Vec<NodeComparison>,
    /// How well pulls of one stage repeat each other; none where none was repeated.
    pub repeatability: Option<Repeatability>,
    /// Root mean square of how far lambda is off target, percent, over nodes that both stages visited: one number a
    /// pull.
    pub off_target: Comparison,
    /// Percent of those nodes that are within tolerance: one number a pull.
    pub within: Comparison,
    /// Power and torque; none where not both stages tell it.
    pub power: Option<StagePower>,
    /// What limits the comparison, in sentences.
    pub remarks: Vec<String>,
}

/// What one stage comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct StageFound {
    /// The stage.
    pub stage: StageId,
    /// The table that its last pull was driven with: what it is measured by.
    pub revision: RevisionId,
    /// The pulls that speak for it.
    pub pulls: Vec<PullId>,
    /// Pulls of it that are left out, since another table was probably loaded than was said.
    pub left_out: Vec<PullId>,
    /// Root mean square of how far lambda is off target over nodes that both stages visited, percent.
    pub off_target_percent: f64,
    /// Expected share of those nodes that are within tolerance, 0 to 1; none where there are none.
    pub within_share: Option<f64>,
}

/// One node in two stages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NodeComparison {
    /// How far lambda is off target in each stage, percent, positive for lean; none where the stage did not measure it.
    pub off_percent: [Option<f64>; 2],
    /// What changed between them; none where not both measured it.
    pub change: Option<NodeMove>,
}

/// What changed at a node between two stages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NodeMove {
    /// By how much lambda went lean of where it was against target, percent.
    pub percent: f64,
    /// Half its 95 % interval, percent.
    pub half_width_percent: f64,
    /// What it is worth.
    pub verdict: MoveVerdict,
}

/// What a change at a node is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MoveVerdict {
    /// Lambda is closer to target.
    Closer,
    /// Lambda is further from target.
    Further,
    /// The change is inside the noise of the pulls.
    InsideTheNoise,
}

/// The pulls of a stage with what they say.
#[derive(Debug, Clone)]
pub struct StagePulls<'a> {
    /// The stage.
    pub stage: StageId,
    /// Its pulls as [`pulls_of`] names them, each with its evidence.
    pub pulls: Vec<(PullId, &'a PullEvidence)>,
}

/// A figure of a fit with a table's trim over some nodes.
type Figure = fn(&Fit, &[f64], &[usize]) -> f64;

/// What the fits of one stage say.
struct Fitted {
    found: StageFound,
    whole: Fit,
    /// What `whole` leaves unknown.
    posterior: Posterior,
    each: Vec<Fit>,
    /// ln of the fuel of the stage's table over the base table's.
    trim: Vec<f64>,
}

/// Returns the pulls that speak for a stage, oldest first.
///
/// # Errors
/// When there is no such stage, or no pull speaks for it.
pub fn pulls_of(state: &JobState, stage: StageId) -> Result<Vec<PullId>, Refusal> {
    state.stage_of(stage)?;
    let pulls: Vec<PullId> = sorted(state, stage).0;
    if pulls.is_empty() {
        return Err(Refusal::StageEmpty {
            job: state.id().clone(),
            stage,
        });
    }
    Ok(pulls)
}

/// Returns the pulls that speak for a stage and those that are left out.
fn sorted(state: &JobState, stage: StageId) -> (Vec<PullId>, Vec<PullId>) {
    let sound = sound_pulls(state);
    let of_stage = state.pulls.iter().filter(|entry| entry.stage == stage);
    of_stage
        .map(|entry| entry.record.id)
        .partition(|id| sound.contains(id))
}

/// Returns how `to` compares with `from`.
///
/// # Errors
/// When a stage has no pull, or evidence does not fit the job.
pub fn compare_stages(
    state: &JobState,
    from: &StagePulls<'_>,
    to: &StagePulls<'_>,
) -> Result<StageComparison, Refusal> {
    let mut fitted = [fitted(state, from)?, fitted(state, to)?];
    let region: Vec<usize> = (0..state.spec.axes.node_count())
        .filter(|&node| fitted.iter().all(|side| is_measured(&side.whole, node)))
        .collect();
    let repeatability = repeat::repeatability(&fitted.each_ref().map(thetas));
    for side in &mut fitted {
        side.found.off_target_percent = rms(&side.whole, &side.trim, &region);
        let tolerance = TOLERANCE_PERCENT / 100.0;
        let within = side.posterior.within(&side.trim, &region, tolerance);
        side.found.within_share = within.map(|found| found.share);
    }
    let [first, second] = &fitted;
    let nodes = (0..state.spec.axes.node_count())
        .map(|node| node_comparison(first, second, node, repeatability.as_ref()))
        .collect();
    let off = fitted.each_ref().map(|side| each(side, &region, rms));
    let share = fitted
        .each_ref()
        .map(|side| each(side, &region, share_within));
    let power = power::of_stages(state, fitted.each_ref().map(|side| &side.found.pulls[..]));
    let remarks = remarks(state, &fitted, &region, repeatability.is_some());
    let stages = fitted.map(|side| side.found);
    Ok(StageComparison {
        stages,
        nodes,
        repeatability,
        off_target: compare(&off[0], &off[1]),
        within: compare(&share[0], &share[1]),
        power,
        remarks,
    })
}

fn fitted(state: &JobState, side: &StagePulls<'_>) -> Result<Fitted, Refusal> {
    let last = side.pulls.last().ok_or_else(|| Refusal::StageEmpty {
        job: state.id().clone(),
        stage: side.stage,
    })?;
    let revision = state.pull(last.0)?.record.revision;
    let evidence: Vec<&PullEvidence> = side.pulls.iter().map(|(_, evidence)| *evidence).collect();
    let settings = sensors::settings(entries(state, side).map(|entry| &entry.record));
    let fit = |evidence: &[&PullEvidence]| {
        fit_whole(&state.spec.axes, evidence, &settings).map_err(|error| misfit(error.to_string()))
    };
    let each = evidence.iter().map(|pull| Ok(fit(&[*pull])?.0));
    let each: Result<Vec<Fit>, Refusal> = each.collect();
    let (whole, posterior) = fit(&evidence)?;
    Ok(Fitted {
        found: StageFound {
            stage: side.stage,
            revision,
            pulls: side.pulls.iter().map(|(id, _)| *id).collect(),
            left_out: sorted(state, side.stage).1,
            off_target_percent: 0.0,
            within_share: None,
        },
        whole,
        posterior,
        each: each?,
        trim: state.log_trim(state.revision(revision)?),
    })
}

fn entries<'a>(
    state: &'a JobState,
    side: &'a StagePulls<'_>,
) -> impl Iterator<Item = &'a PullEntry> {
    let pulls = side.pulls.iter();
    pulls.filter_map(|(id, _)| state.pull(*id).ok())
}

/// Returns whether a fit measured a node more than it borrowed it.
fn is_measured(fit: &Fit, node: usize) -> bool {
    fit.visits[node] > 0 && fit.measured_fraction[node] >= BORROWED_BELOW
}

/// Returns what each pull says of each node, ln units; none where it did not measure it.
fn thetas(side: &Fitted) -> Vec<Vec<Option<f64>>> {
    let of = |fit: &Fit| {
        let nodes = 0..fit.theta.len();
        nodes
            .map(|node| is_measured(fit, node).then(|| fit.theta[node]))
            .collect()
    };
    side.each.iter().map(of).collect()
}

/// Returns the root mean square of how far lambda is off target over the nodes of a region, percent.
fn rms(fit: &Fit, trim: &[f64], region: &[usize]) -> f64 {
    let squares = region
        .iter()
        .map(|&node| (fit.theta[node] - trim[node]).powi(2));
    100.0 * (squares.sum::<f64>() / region.len().max(1) as f64).sqrt()
}

/// Returns the percent of a region's nodes that are within tolerance.
fn share_within(fit: &Fit, trim: &[f64], region: &[usize]) -> f64 {
    let inside =
        |node: &&usize| 100.0 * (fit.theta[**node] - trim[**node]).abs() <= TOLERANCE_PERCENT;
    100.0 * region.iter().filter(inside).count() as f64 / region.len().max(1) as f64
}

/// Returns a figure of each pull over the part of the region that it measured; a pull that measured less than half of
/// it speaks of other places and is left out, unless none is left.
fn each(side: &Fitted, region: &[usize], figure: Figure) -> Vec<f64> {
    let own = |fit: &Fit| -> Vec<usize> {
        let nodes = region.iter().copied();
        nodes.filter(|&node| is_measured(fit, node)).collect()
    };
    let figures: Vec<f64> = side
        .each
        .iter()
        .map(|fit| (fit, own(fit)))
        .filter(|(_, own)| !own.is_empty() && 2 * own.len() >= region.len())
        .map(|(fit, own)| figure(fit, &side.trim, &own))
        .collect();
    if figures.is_empty() {
        vec![figure(&side.whole, &side.trim, region)]
    } else {
        figures
    }
}

fn node_comparison(
    first: &Fitted,
    second: &Fitted,
    node: usize,
    repeatability: Option<&Repeatability>,
) -> NodeComparison {
    let off = |side: &Fitted| {
        let off = side.whole.theta[node] - side.trim[node];
        is_measured(&side.whole, node).then_some(off)
    };
    let (one, other) = (off(first), off(second));
    let percent = |off: Option<f64>| off.map(|off| 100.0 * off.exp_m1());
    let change = one.zip(other).map(|(one, other)| {
        let half = half_width(first, second, node, repeatability);
        let away = other - one;
        let verdict = if away.abs() <= half {
            MoveVerdict::InsideTheNoise
        } else if other.abs() < one.abs() {
            MoveVerdict::Closer
        } else {
            MoveVerdict::Further
        };
        NodeMove {
            percent: 100.0 * away,
            half_width_percent: 100.0 * half,
            verdict,
        }
    });
    NodeComparison {
        off_percent: [percent(one), percent(other)],
        change,
    }
}

/// Returns half the 95 % interval of a node's change, ln units: what repeated pulls show, or what the estimator
/// expects, whichever is wider.
fn half_width(
    first: &Fitted,
    second: &Fitted,
    node: usize,
    repeatability: Option<&Repeatability>,
) -> f64 {
    let variance = |side: &Fitted| side.whole.standard_error[node].powi(2);
    let expected = 1.96 * (variance(first) + variance(second)).sqrt();
    let pulls = |side: &Fitted| {
        side.each
            .iter()
            .filter(|fit| is_measured(fit, node))
            .count()
    };
    let seen = repeatability.map_or(0.0, |found| found.half_width([pulls(first), pulls(second)]));
    expected.max(seen)
}

fn remarks(
    state: &JobState,
    fitted: &[Fitted; 2],
    region: &[usize],
    is_repeated: bool,
) -> Vec<String> {
    let mut remarks = Vec::new();
    let [one, other] = fitted.each_ref().map(|side| side.found.stage);
    if region.is_empty() {
        remarks.push(format!(
            "{one} and {other} have measured no node both: nothing can be compared; pull the same places again"
        ));
    }
    if !is_repeated {
        remarks.push(
            "no place was pulled twice within a stage, so nobody knows how well pulls repeat: the intervals are what the estimator expects; repeat a pull in each stage"
                .to_owned(),
        );
    }
    for side in fitted {
        let found = &side.found;
        if !found.left_out.is_empty() {
            let names: Vec<String> = found.left_out.iter().map(ToString::to_string).collect();
            remarks.push(format!(
                "{} of {} is left out: another table was probably loaded than was said",
                names.join(", "),
                found.stage
            ));
        }
    }
    let bays = |side: &Fitted| {
        let pulls = side
            .found
            .pulls
            .iter()
            .filter_map(|&id| state.pull(id).ok());
        let mut bays: Vec<_> = pulls.map(|entry| &entry.record.bay).collect();
        bays.sort();
        bays.dedup();
        bays.into_iter().cloned().collect::<Vec<_>>()
    };
    if bays(&fitted[0]) != bays(&fitted[1]) {
        remarks.push(format!(
            "{one} and {other} were pulled in different bays: part of the difference may be the sensors'"
        ));
    }
    remarks
}
