//! Planning a proposal for a grip table.

use baytrim_model::grip::{GripChange, GripRow, GripTableSpec};
use baytrim_model::ids::{Actor, ModeName, PullId, UnixMillis};
use baytrim_model::proposal::{FitSummary, Proposal};
use baytrim_model::pull::PullRecord;
use baytrim_model::revision::{Revision, TableKind};
use baytrim_rider::{GRIP_STEP_PERCENT, GripPoint, grid, propose};

use super::{ModeDelivery, mode_of, of_pulls, rules, sentences};
use crate::refusal::Refusal;
use crate::state::JobState;

/// Name and version of what computes grip tables; raised where the same stays would give another table.
const ESTIMATOR: &str = "grip 1";

/// Most stays that one place of the hand counts for, beside the table's own value there, which counts for one.
const STAYS_COUNTED_MAX: usize = 10;

/// Returns the pulls that a proposal for the grip table of `mode` is computed from: those in that mode with the table
/// in force, all but `excluded`, in which the hand stood still.
///
/// # Errors
/// When the job has no table for the mode, an excluded pull is none of its, or no pull is left.
pub fn chosen(
    state: &JobState,
    mode: &ModeName,
    excluded: &[PullId],
) -> Result<Vec<PullId>, Refusal> {
    let (_, head) = table(state, mode)?;
    for &pull in excluded {
        state.pull(pull)?;
    }
    let records = state.pulls.iter().map(|entry| &entry.record);
    let wanted = records.filter(|pull| {
        let has_stays = pull.summary.grip.is_some();
        let is_loaded = pull.grip_revision == Some(head.id);
        has_stays && is_loaded && mode_of(pull) == *mode && !excluded.contains(&pull.id)
    });
    let pulls: Vec<PullId> = wanted.map(|pull| pull.id).collect();
    if pulls.is_empty() {
        return Err(Refusal::NoStays {
            job: state.id().clone(),
            mode: mode.clone(),
            revision: head.id,
        });
    }
    Ok(pulls)
}

fn table<'a>(
    state: &'a JobState,
    mode: &ModeName,
) -> Result<(&'a GripTableSpec, &'a Revision), Refusal> {
    let kind = TableKind::Grip { mode: mode.clone() };
    let found = state.spec.grip.get(mode).zip(state.head_of(&kind));
    found.ok_or_else(|| {
        let known: Vec<&str> = state.spec.grip.keys().map(ModeName::as_str).collect();
        Refusal::GripTableNone {
            job: state.id().clone(),
            mode: mode.clone(),
            known: known.join(", "),
        }
    })
}

/// Returns the proposal for the grip table of `mode` that the stays of `pulls` lead to. It can be approved for
/// `valid_s` seconds; none: for ever.
///
/// # Errors
/// When the job has no such table or pull, or the table's limits cannot be kept.
pub fn plan(
    state: &JobState,
    mode: &ModeName,
    pulls: &[PullId],
    at: UnixMillis,
    by: &Actor,
    valid_s: Option<u64>,
) -> Result<Proposal, Refusal> {
    let (spec, head) = table(state, mode)?;
    let records = pulls.iter().map(|&id| Ok(&state.pull(id)?.record));
    let records = records.collect::<Result<Vec<&PullRecord>, Refusal>>()?;
    let found = of_pulls(state, mode.clone(), Some(head.id), &records, Vec::new());
    let after = solved(spec, head, &found, &records)?;
    let stay_count: usize = found.delivery.points.iter().map(count).sum();
    let rows = rows(spec, head, &after, &found);
    let mut remarks = sentences(&found);
    remarks.push(told(spec, &rows));
    Ok(Proposal {
        id: state.next_proposal(),
        table: TableKind::Grip { mode: mode.clone() },
        base_revision: head.id,
        pulls: pulls.to_vec(),
        created_at: at,
        created_by: by.clone(),
        valid_s,
        fit: FitSummary {
            estimator: ESTIMATOR.to_owned(),
            reading_count: stay_count as u64,
            noise_percent: 0.0,
            episode_percent: 0.0,
            pull_percent: 0.0,
            sensor_percent: 0.0,
            calibration_factor: 1.0,
            off_target_percent: 0.0,
            remarks,
        },
        done: None,
        start: None,
        nodes: Vec::new(),
        grip: Some(GripChange { rows }),
        bays: Vec::new(),
    })
}

fn count(point: &GripPoint) -> usize {
    point.plate_percent.stay_count
}

/// Returns the new table: rows of columns.
///
/// Wishes are the table's own plate at each breakpoint, a mean over the engine speeds that no roll-off touches, and
/// the plate measured there.
fn solved(
    spec: &GripTableSpec,
    head: &Revision,
    found: &ModeDelivery,
    records: &[&PullRecord],
) -> Result<Vec<Vec<f64>>, Refusal> {
    let columns = spec.grip_percent.len();
    let is_full = |rpm: f64| spec.roll_off.is_none_or(|off| off.share_at(rpm) >= 1.0);
    let mut full: Vec<usize> = (0..spec.rpm.len())
        .filter(|&row| is_full(spec.rpm[row]))
        .collect();
    if full.is_empty() {
        full.push(0);
    }
    let own = spec.grip_percent.iter().enumerate().map(|(column, &grip)| {
        let plates = full.iter().map(|row| head.values[row * columns + column]);
        (grip, plates.sum::<f64>() / full.len() as f64, 1.0)
    });
    let stays = records.iter().filter_map(|pull| pull.summary.grip.as_ref());
    let stays: Vec<_> = stays
        .flat_map(|grip| grip.stays.iter().copied())
        .filter(|stay| is_full(stay.rpm))
        .collect();
    let measured = baytrim_rider::delivery(&stays, GRIP_STEP_PERCENT).points;
    let measured = measured.iter().map(|point| {
        let weight = count(point).min(STAYS_COUNTED_MAX) as f64;
        let percent = |value: f64| value.clamp(0.0, 100.0);
        (
            percent(point.grip_percent),
            percent(point.plate_percent.value),
            weight,
        )
    });
    let wishes: Vec<_> = own.chain(measured).collect();
    let rules = rules(spec);
    let misfit = |error: baytrim_rider::RulesError| {
        let field = format!("grip.{}", found.mode);
        Refusal::field(
            field,
            error.to_string(),
            "open the job anew with other limits",
        )
    };
    let table = propose(&wishes, &rules).map_err(misfit)?;
    grid::on_grid(&table, &rules, &spec.rpm, spec.resolution).map_err(misfit)
}

fn rows(
    spec: &GripTableSpec,
    head: &Revision,
    after: &[Vec<f64>],
    found: &ModeDelivery,
) -> Vec<GripRow> {
    let columns = spec.grip_percent.len();
    let row = |(column, &grip_percent): (usize, &f64)| {
        let near = nearest(found, grip_percent);
        GripRow {
            grip_percent,
            before: head
                .values
                .iter()
                .skip(column)
                .step_by(columns)
                .copied()
                .collect(),
            after: after.iter().map(|row| row[column]).collect(),
            measured_percent: near.map(|point| point.plate_percent.value),
            measured_interval: near
                .and_then(|point| point.plate_percent.interval)
                .map(|(low, high)| [low, high]),
            stay_count: near.map_or(0, |point| u32::try_from(count(point)).unwrap_or(u32::MAX)),
        }
    };
    spec.grip_percent.iter().enumerate().map(row).collect()
}

/// Returns the place of the hand next to a breakpoint, within half a step of the places.
fn nearest(found: &ModeDelivery, grip_percent: f64) -> Option<&GripPoint> {
    let away = |point: &GripPoint| (point.grip_percent - grip_percent).abs();
    let points = found.delivery.points.iter();
    points
        .filter(|point| away(point) <= 0.5 * GRIP_STEP_PERCENT)
        .min_by(|one, other| away(one).total_cmp(&away(other)))
}

/// Says what becomes of engine speed, and where most changes.
fn told(spec: &GripTableSpec, rows: &[GripRow]) -> String {
    let speed = match spec.roll_off {
        Some(off) => format!(
            "engine speed counts by the stated roll-off only, from {} rpm down to {:.0} % of the opening at {} rpm",
            off.from_rpm,
            100.0 * off.share,
            off.to_rpm
        ),
        None => "engine speed does not count any more".to_owned(),
    };
    let most = rows
        .iter()
        .map(|row| {
            let pairs = row.before.iter().zip(&row.after);
            let most = pairs.map(|(before, after)| after - before);
            let most = most.max_by(|a, b| a.abs().total_cmp(&b.abs()));
            (row.grip_percent, most.unwrap_or(0.0))
        })
        .max_by(|(_, a), (_, b)| a.abs().total_cmp(&b.abs()));
    let (grip, most) = most.unwrap_or((0.0, 0.0));
    let way = if most < 0.0 {
        "further shut"
    } else {
        "further open"
    };
    format!(
        "With what is proposed {speed}; the largest change is {:.1} % of plate {way}, at {grip} % of grip.",
        most.abs()
    )
}
