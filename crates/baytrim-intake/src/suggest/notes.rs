//! What is remarkable about a log, and what follows for the proposed channels.

use baytrim_model::channel::{EvidenceKind, Quantity, Unit};
use baytrim_model::engine::Fuel;

use super::pick::Known;
use super::report::SuggestedChannel;
use crate::correlation::correlation;
use crate::units::convert;

/// A plate that never reads below this counts from the end of the sensor's travel, percent.
const FLOOR_PERCENT_MIN: f64 = 3.0;

/// A shut plate does not read above this, percent.
const FLOOR_PERCENT_MAX: f64 = 30.0;

/// A plate that moves less than this tells nothing about where its travel begins, percent.
const FLOOR_TRAVEL_PERCENT_MIN: f64 = 8.0;

/// Lambda beyond which one value that comes again and again is a meter's word for no reading.
const LAMBDA_STOP_MIN: f64 = 8.0;

/// A canister's valve that is open further than this is open, percent.
const PURGE_PERCENT: f64 = 1.0;

/// Rows for which a value is held before that is worth a remark.
const HOLD_ROWS_MIN: f64 = 2.0;

fn known<'a, 'b>(columns: &'b [Known<'a>], column: &str) -> Option<&'b Known<'a>> {
    columns
        .iter()
        .find(|known| known.column.name.trim() == column)
}

/// Adds to the channels what their numbers ask for, and returns what is worth a remark.
pub(super) fn refine(
    channels: &mut [SuggestedChannel],
    columns: &[Known<'_>],
    evidence: EvidenceKind,
) -> Vec<String> {
    let mut notes = Vec::new();
    for suggested in channels.iter_mut() {
        let Some(known) = known(columns, &suggested.channel.column) else {
            continue;
        };
        list_no_reading(suggested, known, &mut notes);
        if suggested.quantity == Quantity::PlateAngle {
            raise_floor(suggested, known, evidence, &mut notes);
        }
        if suggested.quantity == Quantity::Purge {
            tell_purge(suggested, known, &mut notes);
        }
        if suggested.quantity == Quantity::Lambda {
            name_twin(suggested, known, columns, &mut notes);
        }
    }
    notes
}

/// A log that is purged most of the time loses most of its readings to that gate.
fn tell_purge(suggested: &SuggestedChannel, known: &Known<'_>, notes: &mut Vec<String>) {
    let channel = &suggested.channel;
    let to_percent = if channel.unit == Unit::Ratio {
        100.0
    } else {
        1.0
    };
    let is_open = |value: &&f64| to_percent * channel.scaled(**value) > PURGE_PERCENT;
    let values = &known.column.values;
    let open_percent = 100.0 * values.iter().filter(is_open).count() as f64 / values.len() as f64;
    if open_percent >= 30.0 {
        notes.push(format!(
            "column \"{}\" is open in {open_percent:.0} percent of the rows, which would be refused: close the purge valve while mapping, or raise gates.purge_percent_max in the job",
            channel.column
        ));
    }
}

/// A value far outside the others that the quantity cannot have stands for no reading.
fn list_no_reading(suggested: &mut SuggestedChannel, known: &Known<'_>, notes: &mut Vec<String>) {
    let Some(does) = &known.behaviour else { return };
    let is_lambda = suggested.quantity == Quantity::Lambda;
    let at_end = (is_lambda && does.high_count >= 3).then_some(does.high);
    let Some(stop) = does.stop_value.or(at_end) else {
        return;
    };
    // The ratio matters little here: what is told apart is far apart.
    let fuel = Fuel {
        name: "petrol".to_owned(),
        stoichiometric_afr: 14.7,
    };
    let channel = &mut suggested.channel;
    let value = convert(
        suggested.quantity,
        channel.unit,
        channel.scaled(stop),
        &fuel,
    );
    let (low, high) = suggested.quantity.believable();
    let is_lambda_stop = is_lambda && value > LAMBDA_STOP_MIN;
    if !(low..=high).contains(&value) || is_lambda_stop {
        channel.no_reading.push(stop);
        notes.push(format!(
            "column \"{}\" writes {stop} again and again, far from its other readings: taken for no reading",
            channel.column
        ));
    }
}

/// A plate that never reads near nought counts from elsewhere than the stop.
fn raise_floor(
    suggested: &mut SuggestedChannel,
    known: &Known<'_>,
    evidence: EvidenceKind,
    notes: &mut Vec<String>,
) {
    let Some(does) = &known.behaviour else { return };
    let channel = &mut suggested.channel;
    let to_percent = if channel.unit == Unit::Ratio {
        100.0
    } else {
        1.0
    };
    let floor = does.low * to_percent;
    let is_travel = does.high * to_percent > floor + FLOOR_TRAVEL_PERCENT_MIN;
    if channel.points.is_some()
        || !(FLOOR_PERCENT_MIN..=FLOOR_PERCENT_MAX).contains(&floor)
        || !is_travel
    {
        return;
    }
    if evidence == EvidenceKind::Trims {
        channel.offset = -(does.low * 10.0).floor() / 10.0;
        notes.push(format!(
            "column \"{}\" never reads below {}: it counts from the end of the sensor's travel, and the offset takes that away",
            channel.column, does.low
        ));
    } else {
        notes.push(format!(
            "column \"{}\" never reads below {}: if the plate was shut at some time and the table's axis counts from the stop, write offset = {}",
            channel.column, does.low, -does.low
        ));
    }
}

/// A log with lambda and AFR tells the ratio that its meter reckons with.
fn name_twin(
    suggested: &SuggestedChannel,
    known: &Known<'_>,
    columns: &[Known<'_>],
    notes: &mut Vec<String>,
) {
    let rivals = suggested.rivals.iter();
    let twins = rivals.filter_map(|rival| columns.iter().find(|known| known.column.name == *rival));
    for twin in twins {
        let (Some(own), Some(other)) = (&known.behaviour, &twin.behaviour) else {
            continue;
        };
        let ratio = other.median / own.median;
        let is_twin = correlation(&known.column.values, &twin.column.values) > 0.99;
        if is_twin && ((4.0..20.0).contains(&ratio) || (0.05..0.25).contains(&ratio)) {
            let ratio = if ratio < 1.0 { 1.0 / ratio } else { ratio };
            notes.push(format!(
                "columns \"{}\" and \"{}\" say the same, {ratio:.2} apart: the meter reckons with a stoichiometric ratio of {ratio:.2}",
                known.column.name, twin.column.name
            ));
        }
    }
}

/// Values that are held for several rows tell less than their number.
pub(super) fn held(columns: &[Known<'_>], channels: &[SuggestedChannel]) -> Option<String> {
    let evidence = [
        Quantity::Lambda,
        Quantity::ShortTermTrim,
        Quantity::EngineSpeed,
    ];
    let found = evidence.iter().find_map(|quantity| {
        let suggested = channels
            .iter()
            .find(|suggested| suggested.quantity == *quantity)?;
        let known = known(columns, &suggested.channel.column)?;
        let rows = known.behaviour.as_ref()?.hold_rows;
        let is_held = rows >= HOLD_ROWS_MIN && known.behaviour.as_ref()?.distinct_count > 10;
        is_held.then_some((known.column.name.as_str(), rows))
    })?;
    Some(format!(
        "column \"{}\" changes every {:.1} rows only: the log repeats its readings, which count as fewer",
        found.0, found.1
    ))
}
