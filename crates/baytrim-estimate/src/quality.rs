//! Checks of a pull as a whole: what no single row can tell.

mod relation;
pub(crate) mod sensors;

use baytrim_model::axis::Axis;
use baytrim_model::channel::EvidenceKind;
use baytrim_model::pull::PullWarning;

use crate::frame::Frame;
use crate::gate::rules::on_axis;
use crate::hat::HatFinder;
use crate::row::Columns;

use self::relation::{Points, Relation};

/// Share of rows beyond one end of an axis from which the log is hardly one of this vehicle.
const BEYOND_SHARE_MAX: f64 = 0.3;
/// Seconds of running engine below which ranges say nothing.
const RUNNING_ROWS_MIN: u32 = 100;
/// Middle fuel need, in log units, that no table of a running vehicle lacks.
const LEVEL_MAX: f64 = 0.25;
/// Spread of ln lambda below which it is noise, and no relation can be asked for.
const SPREAD_MIN: f64 = 0.03;
/// What lambda shares with its own log must be more than so many times what it shares by chance.
const CHANCE_FACTOR: f64 = 2.0;
/// What chance may explain at the most for a log to tell anything: one of equal sweeps is much like
/// itself, turned by one of them.
const CHANCE_MAX: f64 = 0.3;
/// What speed and plate may explain at the most before lambda counts as theirs.
const EXPLAINED_MAX: f64 = 0.25;
/// How many times as much a lag beyond belief must explain as all believable ones, and as chance.
const LATE_GAIN: f64 = 1.5;
/// Lag beyond belief, seconds.
const LATE_S_MIN: f64 = 2.5;
/// Trims that matter, root mean square, in percent.
const TRIM_PERCENT_MIN: f64 = 1.0;

/// What was counted over the rows of a pull.
#[derive(Debug, Default)]
struct Survey {
    running: u32,
    rpm_beyond: [u32; 2],
    plate_beyond: [u32; 2],
    rpm: Option<(f64, f64)>,
    lambda: Option<(f64, f64)>,
    lambda_count: u32,
    lambda_moves: u32,
    last_lambda: f64,
    needs: Vec<f64>,
    trim_squares: f64,
    trim_count: u32,
    points: Points,
}

fn widen(range: &mut Option<(f64, f64)>, value: f64) {
    let (low, high) = range.unwrap_or((value, value));
    *range = Some((low.min(value), high.max(value)));
}

fn beyond(axis: &Axis, value: f64, counts: &mut [u32; 2]) {
    if !on_axis(axis, value) {
        counts[usize::from(value > axis.breakpoints()[0])] += 1;
    }
}

fn survey(frame: &Frame, columns: &Columns<'_>) -> Survey {
    let mut survey = Survey::default();
    let mut finder = HatFinder::default();
    let rpm_max = frame.axes.rpm.last();
    for index in 0..columns.len() {
        let row = columns.row(index);
        survey.points.add(
            row.offset_s,
            row.rpm / rpm_max,
            row.plate_percent,
            row.lambda,
        );
        if row.closed_loop_factor.is_finite() {
            survey.trim_squares += (100.0 * (row.closed_loop_factor - 1.0)).powi(2);
            survey.trim_count += 1;
        }
        if !row.makes_exhaust() {
            continue;
        }
        survey.running += 1;
        widen(&mut survey.rpm, row.rpm);
        beyond(&frame.axes.rpm, row.rpm, &mut survey.rpm_beyond);
        beyond(
            &frame.axes.plate_percent,
            row.plate_percent,
            &mut survey.plate_beyond,
        );
        if row.lambda.is_finite() && row.lambda > 0.0 {
            survey.lambda_count += 1;
            survey.lambda_moves += u32::from(row.lambda.to_bits() != survey.last_lambda.to_bits());
            survey.last_lambda = row.lambda;
            widen(&mut survey.lambda, row.lambda);
        }
        // A pull of hours is judged by its first hundred thousand rows.
        if row.plate_percent > 5.0 && survey.needs.len() < 100_000 {
            let hat = finder.find(&frame.axes, row.rpm, row.plate_percent);
            let need = frame.need(&row, &hat);
            if need.is_finite() {
                survey.needs.push(need);
            }
        }
    }
    survey
}

/// Returns what is odd about a pull as a whole.
pub(crate) fn warnings(frame: &Frame, columns: &Columns<'_>) -> Vec<PullWarning> {
    let mut survey = survey(frame, columns);
    let mut found = Vec::new();
    let mut warn = |code: &str, message: String| {
        found.push(PullWarning {
            code: code.to_owned(),
            message,
        });
    };
    for (code, message) in [
        ("other_vehicle", other_vehicle(frame, &survey)),
        ("lambda_level", level(frame, &mut survey)),
        ("trims_not_counted", trims(frame, &survey)),
    ] {
        if let Some(message) = message {
            warn(code, message);
        }
    }
    if frame.evidence == EvidenceKind::Trims {
        return found;
    }
    if let Some(message) = dead(&survey) {
        warn("lambda_dead", message);
    } else if let Some(relation) = telling(&survey) {
        if let Some(message) = late(&relation) {
            warn("lambda_slow", message);
        } else if let Some(message) = unrelated(&relation) {
            warn("lambda_unrelated", message);
        }
    }
    found
}

/// A log whose ranges are those of another vehicle, or in another unit.
fn other_vehicle(frame: &Frame, survey: &Survey) -> Option<String> {
    if survey.running < RUNNING_ROWS_MIN {
        return None;
    }
    let share = |count: u32| f64::from(count) / f64::from(survey.running);
    let ends = |axis: &Axis| (axis.breakpoints()[0], axis.last());
    let (rpm, plate) = (ends(&frame.axes.rpm), ends(&frame.axes.plate_percent));
    let places = [
        (
            survey.rpm_beyond[1],
            "above the table's highest speed",
            rpm.1,
            "rpm",
        ),
        (
            survey.plate_beyond[1],
            "above the table's widest plate",
            plate.1,
            "percent",
        ),
        (
            survey.plate_beyond[0],
            "below the table's narrowest plate",
            plate.0,
            "percent",
        ),
    ];
    for (count, place, end, unit) in places {
        if share(count) > BEYOND_SHARE_MAX {
            return Some(format!(
                "{:.0} % of the rows lie {place}, {end} {unit}; check that the log is this vehicle's and the unit in the channel map",
                100.0 * share(count)
            ));
        }
    }
    let highest = survey.rpm.map_or(0.0, |range| range.1);
    if highest < 0.5 * rpm.0 {
        return Some(format!(
            "the engine never ran faster than {highest:.0} rpm, and the table begins at {}; check that the log is this vehicle's and the unit of engine speed",
            rpm.0
        ));
    }
    None
}

/// Lambda that is off everywhere by more than any table is.
fn level(frame: &Frame, survey: &mut Survey) -> Option<String> {
    let count = survey.needs.len();
    if count < RUNNING_ROWS_MIN as usize {
        return None;
    }
    survey.needs.sort_by(f64::total_cmp);
    let middle = survey.needs[count / 2];
    (middle.abs() > LEVEL_MAX).then(|| {
        let source = match frame.evidence {
            EvidenceKind::Lambda => "lambda misses its target",
            EvidenceKind::Trims => "closed-loop trims are off",
            EvidenceKind::LambdaAndTrims => "lambda with its trims misses its target",
        };
        format!(
            "{source} by {:+.0} % in the middle of the log; before believing it, check the unit of lambda and the fuel it was scaled with, the targets, the revision stated, and that the log is this vehicle's",
            100.0 * middle.exp_m1()
        )
    })
}

/// Trims at work that the evidence does not count.
fn trims(frame: &Frame, survey: &Survey) -> Option<String> {
    let rms = (survey.trim_squares / f64::from(survey.trim_count.max(1))).sqrt();
    (frame.evidence == EvidenceKind::Lambda && rms > TRIM_PERCENT_MIN).then(|| {
        format!(
            "closed-loop trims of {rms:.1} % (root mean square) were at work and are not counted; set evidence = \"lambda_and_trims\" in the channel map, or open the loop while mapping"
        )
    })
}

/// A sensor that says one thing throughout.
fn dead(survey: &Survey) -> Option<String> {
    let (low, high) = survey.rpm?;
    let lambda = survey.lambda?;
    // Less than one change in a hundred rows: no gas is as even as that.
    let stands = survey.lambda_moves.saturating_sub(1) * 100 < survey.lambda_count;
    let engine_moves = high > 1.1 * low && survey.lambda_count >= RUNNING_ROWS_MIN;
    (stands && engine_moves && lambda.1 < 1.02 * lambda.0).then(|| {
        format!(
            "lambda stands at {:.3} while engine speed goes from {low:.0} to {high:.0} rpm; check the sensor, its heater and its wiring before the next pull",
            lambda.0
        )
    })
}

/// What lambda has to do with speed and plate, where the log can tell.
fn telling(survey: &Survey) -> Option<Relation> {
    let relation = survey.points.relation()?;
    (relation.spread > SPREAD_MIN && relation.by_chance < CHANCE_MAX).then_some(relation)
}

/// Lambda that follows later than exhaust and sensor can be late.
fn late(relation: &Relation) -> Option<String> {
    let (explained, lag_s) = relation.late;
    let much = explained > relation.explained.max(relation.by_chance) * LATE_GAIN;
    (lag_s > LATE_S_MIN && much).then(|| {
        format!(
            "lambda follows speed and plate about {lag_s:.0} s late; check that it was logged on the same clock and that the meter does not average"
        )
    })
}

/// Lambda that has nothing to do with speed and plate. A log that goes through its places once, one after
/// the other, cannot tell: any slow drift follows them.
fn unrelated(relation: &Relation) -> Option<String> {
    let chance = relation.explained < EXPLAINED_MAX
        && relation.explained < CHANCE_FACTOR * relation.by_chance;
    chance.then(|| {
        "lambda has no more to do with speed and plate than chance would have it; check that its column is the exhaust of this engine, on the same clock"
            .to_owned()
    })
}
