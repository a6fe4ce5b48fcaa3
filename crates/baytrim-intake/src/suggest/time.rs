//! Picks the column that time comes from.

use baytrim_model::channel::{Quantity, RepeatedTime, TimeChannel, Unit};

use super::behaviour::Behaviour;
use super::pick::Known;
use super::report::SuggestedTime;
use super::unit_text::StatedUnit;
use crate::clock::quantile;

/// Most steps of a clock that may go backwards where a log holds more than one recording.
const FALLING_SHARE_MAX: f64 = 0.002;

/// The clock proposed, and the place of its column.
pub(super) struct PickedTime {
    pub place: usize,
    pub suggested: SuggestedTime,
    /// What is odd about it.
    pub note: Option<String>,
}

/// Returns the clock; none where no column counts on.
pub(super) fn pick_time(columns: &[Known<'_>]) -> Option<PickedTime> {
    let mut best: Option<(usize, f64)> = None;
    for (place, known) in columns.iter().enumerate() {
        let confidence = confidence(known);
        if confidence > 0.0 && best.is_none_or(|best| confidence > best.1) {
            best = Some((place, confidence));
        }
    }
    let (place, mut confidence) = best?;
    let known = &columns[place];
    let behaviour = known.behaviour.as_ref()?;
    let (unit, reason, is_sure) = unit(known, behaviour);
    if !is_sure {
        confidence *= 0.7;
    }
    let mut reasons = vec![
        if known.column.is_clock {
            "the file says that it is its clock".to_owned()
        } else if known.name.clock_fit() > 0.5 {
            "the name says time, and it counts on".to_owned()
        } else {
            "it counts on evenly, as nothing else does".to_owned()
        },
        reason,
    ];
    let mut repeated = RepeatedTime::Refuse;
    if behaviour.still_share > 0.0 {
        repeated = RepeatedTime::Spread;
        reasons.push(format!(
            "{:.0} percent of rows repeat the time above, so that rows are to be spread",
            (100.0 * behaviour.still_share).max(1.0)
        ));
    }
    let backwards = (behaviour.falling_share > 0.0).then(|| {
        format!(
            "the clock \"{}\" goes backwards: the log holds several recordings; cut it there",
            known.column.name
        )
    });
    Some(PickedTime {
        place,
        suggested: SuggestedTime {
            time: TimeChannel {
                column: Some(known.column.name.trim().to_owned()),
                unit,
                rate_hz: None,
                repeated,
            },
            confidence,
            reason: reasons.join("; "),
        },
        note: backwards,
    })
}

fn confidence(known: &Known<'_>) -> f64 {
    let Some(behaviour) = &known.behaviour else {
        return 0.0;
    };
    let counts_on = !behaviour.is_constant()
        && behaviour.falling_share <= FALLING_SHARE_MAX
        && behaviour.still_share < 0.999;
    let is_short = behaviour.count < 3;
    if !(counts_on || known.column.is_clock || is_short && known.name.clock_fit() > 0.5) {
        return 0.0;
    }
    if known.column.is_clock {
        return 0.99;
    }
    if known.column.notation.is_some() {
        return 0.6 + 0.35 * known.name.clock_fit();
    }
    let named = known.name.clock_fit();
    if named > 0.3 {
        let is_stated =
            matches!(known.stated, Some(StatedUnit::Known(unit)) if Unit::TIMES.contains(&unit));
        let coarseness = behaviour.still_share.powi(4);
        let stated = if is_stated { 0.1 } else { 0.0 };
        return (0.6 * named + 0.25 + stated) * (1.0 - 0.6 * coarseness);
    }
    let is_other = Quantity::ALL
        .iter()
        .any(|quantity| known.name.fit(*quantity).0 > 0.2);
    if is_other || known.name.is_counter() || !is_even(&known.column.values) {
        return 0.0;
    }
    0.4
}

/// Returns whether nearly all steps that are any are about as long as each other.
fn is_even(values: &[f64]) -> bool {
    let numbers: Vec<f64> = values
        .iter()
        .copied()
        .filter(|value| !value.is_nan())
        .collect();
    let mut steps: Vec<f64> = numbers
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .filter(|step| *step > 0.0)
        .collect();
    if steps.len() < 10 {
        return false;
    }
    let (low, high) = (quantile(&mut steps, 0.05), quantile(&mut steps, 0.95));
    high < 2.0 * low
}

/// Returns the unit, why, and whether that is sure.
fn unit(known: &Known<'_>, behaviour: &Behaviour) -> (Unit, String, bool) {
    if let Some(unit) = known.column.notation {
        let written = match unit {
            Unit::S => "its cells are lengths of time".to_owned(),
            unit => format!("its cells are written as {unit}"),
        };
        return (unit, written, true);
    }
    if let Some(StatedUnit::Known(unit)) = known.stated
        && Unit::TIMES.contains(&unit)
    {
        return (unit, format!("the log states {unit}"), true);
    }
    let row_step = (behaviour.high - behaviour.low) / (behaviour.count.max(2) - 1) as f64;
    let rows = |unit_s: f64| {
        format!(
            "rows would come at {:.4} a second",
            1.0 / (row_step * unit_s)
        )
    };
    let is_serial_day = (20_000.0..90_000.0).contains(&behaviour.low) && row_step < 1e-3;
    if is_serial_day || row_step < 5e-6 {
        return (Unit::Day, format!("read as days, {}", rows(86_400.0)), true);
    }
    if row_step > 2e4 {
        return (
            Unit::Us,
            format!("read as microseconds, {}", rows(1e-6)),
            row_step < 5e6,
        );
    }
    if row_step >= 5.0 {
        return (
            Unit::Ms,
            format!("read as milliseconds, {}", rows(1e-3)),
            row_step <= 2000.0,
        );
    }
    let is_sure = row_step < 0.9 || behaviour.high - behaviour.low < 5000.0;
    (Unit::S, format!("read as seconds, {}", rows(1.0)), is_sure)
}
