//! Readings of a bay's lambda sensor in free air, and when the next is due.

use baytrim_model::ids::UnixMillis;
use baytrim_model::record::BayEvent;

use crate::bay::BayState;
use crate::bay_reading::{BayReading, pooled};
use crate::refusal::Refusal;

/// Oxygen in dry air, percent by volume: U.S. Standard Atmosphere 1976, table 3.
pub const FREE_AIR_OXYGEN_PERCENT: f64 = 20.9476;

/// How far a sensor may be from it before somebody should look, percent by volume: moist air holds up to 0.9 less at
/// 30 C, and the rest is common practice.
pub const FREE_AIR_TOLERANCE: f64 = 1.0;

/// Days after which a sensor should be read in free air again; common practice for sensors that see race fuel and
/// open exhausts.
pub const CHECK_DAYS: i64 = 30;

/// A difference against other bays of so many standard errors, and of so many percent of lambda, asks for a look.
const TOLD_FROM: (f64, f64) = (2.0, 1.0);

/// Longest notes in bytes: a paragraph, not a report.
const NOTES_BYTES_MAX: usize = 2000;

const DAY_MS: i64 = 24 * 3600 * 1000;

/// Why a bay's sensor should be looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SensorDue {
    /// Nobody has read it in free air.
    NeverChecked,
    /// It was read so many days ago, more than [`CHECK_DAYS`].
    Overdue {
        /// The days.
        days: i64,
    },
    /// In free air it did not show air.
    OffInFreeAir {
        /// Oxygen that it showed, percent by volume.
        oxygen_percent: f64,
    },
    /// It reads otherwise than the other bays do at the same places.
    OffOtherBays(BayReading),
}

/// Returns the event of a reading in free air.
///
/// # Errors
/// When the reading is no share of oxygen, or the notes are too long.
pub fn event(oxygen_percent: f64, notes: &str) -> Result<BayEvent, Refusal> {
    if !(0.0..=30.0).contains(&oxygen_percent) {
        return Err(Refusal::field(
            "oxygen_percent",
            format!("{oxygen_percent} is not between 0 and 30"),
            "write what the sensor shows in free air, percent oxygen by volume; dry air has 20.9",
        ));
    }
    let notes = notes.trim();
    if notes.len() > NOTES_BYTES_MAX {
        return Err(Refusal::field(
            "notes",
            format!("is {} bytes long", notes.len()),
            format!("say it in {NOTES_BYTES_MAX} bytes"),
        ));
    }
    Ok(BayEvent::SensorChecked {
        oxygen_percent,
        notes: notes.to_owned(),
    })
}

/// Returns why the bay's sensor should be looked at, at the moment that the clock tells; empty where all is well.
pub fn due(state: &BayState, clock: UnixMillis) -> Vec<SensorDue> {
    let mut due = Vec::new();
    match state.checks.last() {
        None => due.push(SensorDue::NeverChecked),
        Some(check) => {
            let days = (clock.0 - check.at.0).max(0) / DAY_MS;
            let away = (check.oxygen_percent - FREE_AIR_OXYGEN_PERCENT).abs();
            if away > FREE_AIR_TOLERANCE {
                due.push(SensorDue::OffInFreeAir {
                    oxygen_percent: check.oxygen_percent,
                });
            }
            if days > CHECK_DAYS {
                due.push(SensorDue::Overdue { days });
            }
        }
    }
    let told = |reading: &BayReading| {
        let away = reading.leaner_percent.abs();
        away >= TOLD_FROM.1 && away >= TOLD_FROM.0 * reading.standard_error_percent
    };
    due.extend(
        pooled(&state.readings)
            .filter(told)
            .map(SensorDue::OffOtherBays),
    );
    due
}
