//! Power of several pulls of a job side by side: which compare, and whether the engine has changed or the day.

mod doubts;
mod words;

use baytrim_model::ids::{PullId, RevisionId, StageId};
use baytrim_model::power::{PowerPoint, PowerStandard, PullAir, PullPower};
use baytrim_power::{Comparison, Drift, TimedPull, compare, drift};

use crate::power::correct_to;
use crate::refusal::Refusal;
use crate::state::{JobState, PullEntry};

/// Most pulls that are laid side by side.
pub const PULLS_MAX: usize = 12;

/// A pull among others.
#[derive(Debug, Clone, PartialEq)]
pub struct ComparedPull<'a> {
    /// The pull.
    pub entry: &'a PullEntry,
    /// Its power, corrected to the standard asked for.
    pub power: PullPower,
    /// Mean of the logarithm of its power over the speeds that all curves have; none where there are none.
    pub mean_log_power: Option<f64>,
    /// Why it should not be compared with the first one, each a sentence; empty where it may.
    pub doubts: Vec<String>,
}

/// What the vehicle was when a pull was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct State {
    /// Its stage.
    pub stage: StageId,
    /// The table revision that was loaded.
    pub revision: RevisionId,
}

/// The first state of the vehicle against the last one.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The first state, with its pulls.
    pub before: (State, Vec<PullId>),
    /// The last state, with its pulls.
    pub after: (State, Vec<PullId>),
    /// How they compare side by side, in log power, at standard air where all can be corrected.
    pub comparison: Comparison,
    /// What of the difference is the day's and what the engine's; none where that can't be told.
    pub drift: Option<Drift>,
    /// What it comes to, in sentences.
    pub sentences: Vec<String>,
}

/// Power of several pulls side by side.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerComparison<'a> {
    /// The standard that all are corrected to.
    pub standard: PowerStandard,
    /// The pulls, oldest first.
    pub pulls: Vec<ComparedPull<'a>>,
    /// Engine speeds at which every curve has a point, slowest first, rpm.
    pub common_rpm: Vec<f64>,
    /// Whether the numbers are those of corrected power; else one of the pulls has no correction.
    pub is_corrected: bool,
    /// The first state against the last; none where there is one state only, or nothing in common.
    pub change: Option<Change>,
}

/// Returns the power of pulls side by side: of those named, else of the newest with a curve. No `standard` means the
/// job's.
///
/// # Errors
/// When the job has no such pull, or too many are named.
pub fn side_by_side<'a>(
    state: &'a JobState,
    named: &[PullId],
    standard: Option<PowerStandard>,
) -> Result<PowerComparison<'a>, Refusal> {
    if named.len() > PULLS_MAX {
        return Err(Refusal::field(
            "pulls",
            format!("names {} pulls", named.len()),
            format!("name {PULLS_MAX} at the most: more curves can't be told apart"),
        ));
    }
    let standard = standard.unwrap_or(state.spec.power.standard);
    let mut entries = if named.is_empty() {
        newest(state)
    } else {
        let found = named.iter().map(|&id| state.pull(id));
        found.collect::<Result<Vec<_>, _>>()?
    };
    entries.sort_by_key(|entry| entry.record.id);
    entries.dedup_by_key(|entry| entry.record.id);
    let mut pulls: Vec<ComparedPull<'_>> = entries
        .into_iter()
        .map(|entry| compared(entry, standard))
        .collect();
    let common_rpm = common(&pulls);
    let with_curve = || pulls.iter().filter(|pull| !pull.power.points.is_empty());
    let is_corrected = with_curve().all(|pull| pull.power.correction.is_some());
    for pull in &mut pulls {
        pull.mean_log_power = mean_log_power(&pull.power, &common_rpm, is_corrected);
    }
    doubts::tell(&mut pulls);
    let change = change(&pulls);
    Ok(PowerComparison {
        standard,
        pulls,
        common_rpm,
        is_corrected,
        change,
    })
}

/// Returns the newest pulls that have a curve, else all that have a roller.
fn newest(state: &JobState) -> Vec<&PullEntry> {
    let rolled = |entry: &&PullEntry| entry.record.summary.power.is_some();
    let has_curve = |entry: &&PullEntry| {
        let power = entry.record.summary.power.as_ref();
        power.is_some_and(|power| !power.points.is_empty())
    };
    let pulls = || state.pulls.iter().rev();
    let mut found: Vec<_> = pulls().filter(has_curve).take(PULLS_MAX).collect();
    if found.is_empty() {
        found = pulls().filter(rolled).take(PULLS_MAX).collect();
    }
    found
}

fn compared(entry: &PullEntry, standard: PowerStandard) -> ComparedPull<'_> {
    let summary = &entry.record.summary;
    let mut doubts = Vec::new();
    let power = match &summary.power {
        None => {
            doubts.push("the log has no roller".to_owned());
            PullPower::none()
        }
        Some(power) if power.correction.as_ref().map(|by| by.standard) == Some(standard) => {
            power.clone()
        }
        Some(power) => {
            let mut power = power.clone();
            power.remarks.clear();
            if power.points.is_empty() {
                power.remarks = summary
                    .power
                    .as_ref()
                    .map_or_else(Vec::new, |power| power.remarks.clone());
            } else {
                correct_to(&mut power, standard, summary.air.as_ref());
            }
            power
        }
    };
    ComparedPull {
        entry,
        power,
        mean_log_power: None,
        doubts,
    }
}

/// Returns the speeds that every curve has; a pull without a curve takes none away.
fn common(pulls: &[ComparedPull<'_>]) -> Vec<f64> {
    let mut curves = pulls
        .iter()
        .map(|pull| &pull.power.points)
        .filter(|points| !points.is_empty());
    let Some(first) = curves.next() else {
        return Vec::new();
    };
    let others: Vec<_> = curves.collect();
    let speeds = first.iter().map(|point| point.engine_speed_rpm);
    speeds
        .filter(|&rpm| others.iter().all(|points| at(points, rpm).is_some()))
        .collect()
}

/// Returns the point at a speed.
pub fn at(points: &[PowerPoint], rpm: f64) -> Option<&PowerPoint> {
    let is_there = |point: &&PowerPoint| (point.engine_speed_rpm - rpm).abs() < 1e-6;
    points.iter().find(is_there)
}

fn mean_log_power(power: &PullPower, speeds_rpm: &[f64], is_corrected: bool) -> Option<f64> {
    if speeds_rpm.is_empty() || power.points.is_empty() {
        return None;
    }
    let factor = if is_corrected { power.factor()? } else { 1.0 };
    let logs = speeds_rpm
        .iter()
        .map(|&rpm| at(&power.points, rpm).map(|point| (point.power_kw * factor).ln()));
    let sum: f64 = logs.sum::<Option<f64>>()?;
    sum.is_finite().then(|| sum / speeds_rpm.len() as f64)
}

fn state_of(pull: &ComparedPull<'_>) -> State {
    State {
        stage: pull.entry.stage,
        revision: pull.entry.record.revision,
    }
}

/// Milliseconds in an hour.
const MS_PER_H: f64 = 3.6e6;

fn change(pulls: &[ComparedPull<'_>]) -> Option<Change> {
    let numbered: Vec<_> = pulls
        .iter()
        .filter_map(|pull| Some((pull, pull.mean_log_power?)))
        .collect();
    let first = state_of(numbered.first()?.0);
    let last = state_of(numbered.last()?.0);
    if first == last {
        return None;
    }
    let of = |state: State| {
        numbered
            .iter()
            .filter(move |(pull, _)| state_of(pull) == state)
    };
    let values = |state| of(state).map(|(_, value)| *value).collect::<Vec<f64>>();
    let ids = |state| of(state).map(|(pull, _)| pull.entry.record.id).collect();
    let comparison = compare(&values(first), &values(last));
    let began = numbered.first()?.0.entry.at.0;
    let timed = |state: State, is_after| {
        of(state).map(move |(pull, value)| TimedPull {
            #[expect(clippy::cast_precision_loss, reason = "milliseconds of days")]
            time_h: (pull.entry.at.0 - began) as f64 / MS_PER_H,
            value: *value,
            is_after,
        })
    };
    let timed: Vec<TimedPull> = timed(first, false).chain(timed(last, true)).collect();
    let drift = drift(&timed);
    let sentences = words::sentences(first, last, &comparison, drift.as_ref());
    Some(Change {
        before: (first, ids(first)),
        after: (last, ids(last)),
        comparison,
        drift,
        sentences,
    })
}

/// Returns the air of a pull.
pub fn air<'a>(pull: &ComparedPull<'a>) -> Option<&'a PullAir> {
    pull.entry.record.summary.air.as_ref()
}
