//! Bays and their channel maps.

use baytrim_api::v1;
use baytrim_jobs::BayState;
use baytrim_jobs::bay::{MapEntry, SensorCheck};
use baytrim_jobs::bay_delay::DelayEntry;
use baytrim_jobs::bay_reading::{ReadingEntry, pooled};
use baytrim_jobs::sensor_check::{CHECK_DAYS, FREE_AIR_OXYGEN_PERCENT, SensorDue, due};
use baytrim_model::channel::ChannelMap;
use baytrim_model::ids::{Actor, BayName, UnixMillis};

use super::name;
use super::time::timestamp;
use crate::clock;

/// Returns a bay.
pub fn bay(id: &BayName, state: &BayState) -> v1::Bay {
    let map = state.map_in_force();
    let reading = pooled(&state.readings);
    v1::Bay {
        name: name::bay(id),
        channel_map: map.map_or_else(String::new, |map| name::channel_map(id, map.id)),
        delays: state.delays.iter().map(delay).collect(),
        leaner_percent: reading.map(|reading| reading.leaner_percent),
        leaner_error_percent: reading.map_or(0.0, |reading| reading.standard_error_percent),
        comparisons: state.readings.iter().map(comparison).collect(),
        sensor_checks: state.checks.iter().map(check).collect(),
        sensor_due: due(state, clock::now()).iter().map(told).collect(),
    }
}

fn check(check: &SensorCheck) -> v1::SensorCheck {
    v1::SensorCheck {
        oxygen_percent: check.oxygen_percent,
        notes: check.notes.clone(),
        create_time: Some(timestamp(check.at)),
        creator: check.by.to_string(),
    }
}

/// Returns why a sensor should be looked at, as a sentence.
pub fn told(due: &SensorDue) -> String {
    match due {
        SensorDue::NeverChecked => "its lambda sensor was never read in free air: do so, and keep it with `baytrim bay check`".to_owned(),
        SensorDue::Overdue { days } => format!(
            "its lambda sensor was read in free air {days} days ago; again every {CHECK_DAYS}"
        ),
        SensorDue::OffInFreeAir { oxygen_percent } => format!(
            "in free air its lambda sensor showed {oxygen_percent:.1} % oxygen where air has {FREE_AIR_OXYGEN_PERCENT:.1}: calibrate or change it, then read it again"
        ),
        SensorDue::OffOtherBays(reading) => {
            let word = if reading.leaner_percent > 0.0 { "leaner" } else { "richer" };
            format!(
                "it reads {:.1} \u{b1} {:.1} % {word} than the other bays at the same places: compare the sensors",
                reading.leaner_percent.abs(),
                reading.standard_error_percent
            )
        }
    }
}

fn comparison(entry: &ReadingEntry) -> v1::BayComparison {
    v1::BayComparison {
        job: name::job(&entry.job),
        leaner_percent: entry.leaner_percent,
        standard_error_percent: entry.standard_error_percent,
    }
}

fn delay(entry: &DelayEntry) -> v1::LearntDelay {
    let (model, error) = (&entry.delay.model, &entry.delay.standard_error);
    v1::LearntDelay {
        job: name::job(&entry.job),
        displacement_cc: entry.displacement_cc,
        cycles: model.cycles,
        gas_volume_l: model.gas_volume_l,
        lag_s: model.lag_s,
        cycles_error: error.cycles,
        gas_volume_error_l: error.gas_volume_l,
        lag_error_s: error.lag_s,
    }
}

/// Returns a channel map with its text.
pub fn whole(id: &BayName, state: &BayState, entry: &MapEntry) -> v1::ChannelMap {
    v1::ChannelMap {
        text: entry.text.clone(),
        ..brief(id, state, entry)
    }
}

/// Returns a channel map without its text.
pub fn brief(id: &BayName, state: &BayState, entry: &MapEntry) -> v1::ChannelMap {
    let latest = state.map_in_force().map(|latest| latest.id);
    v1::ChannelMap {
        name: name::channel_map(id, entry.id),
        text: String::new(),
        in_force: latest == Some(entry.id),
        create_time: Some(timestamp(entry.at)),
        creator: entry.by.to_string(),
        reason: entry.reason.clone(),
        channels: channels(&entry.map),
    }
}

/// Returns a channel map that was only checked, not put in force: without a name.
pub fn checked(map: &ChannelMap, text: &str, by: &Actor, at: UnixMillis) -> v1::ChannelMap {
    v1::ChannelMap {
        text: text.to_owned(),
        create_time: Some(timestamp(at)),
        creator: by.to_string(),
        channels: channels(map),
        ..v1::ChannelMap::default()
    }
}

fn channels(map: &ChannelMap) -> Vec<v1::MappedChannel> {
    let time = v1::MappedChannel {
        quantity: "time".to_owned(),
        column: map.time.column.clone().unwrap_or_default(),
        unit: map.time.unit.to_string(),
    };
    let others = map
        .channels
        .iter()
        .map(|(quantity, channel)| v1::MappedChannel {
            quantity: quantity.to_string(),
            column: channel.column.clone(),
            unit: channel.unit.to_string(),
        });
    std::iter::once(time).chain(others).collect()
}
