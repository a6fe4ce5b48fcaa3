//! A bay as its records tell it, and what may happen to it.

use std::collections::HashMap;

use baytrim_model::channel::ChannelMap;
use baytrim_model::ids::{Actor, BayName, ChannelMapId, RequestId, UnixMillis};
use baytrim_model::record::{BayEvent, BayRecord};

use crate::bay_delay::DelayEntry;
use crate::bay_reading::ReadingEntry;
use crate::fold::Fold;
use crate::refusal::Refusal;
use crate::state::FoldError;

/// Longest reason for a channel map, in bytes.
const REASON_BYTES_MAX: usize = 2000;

/// A bay as its records tell it: nothing here that they do not. A bay without records is one too.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BayState {
    /// Its channel maps, oldest first; `m1` is the first and the last is in force.
    pub maps: Vec<MapEntry>,
    /// The delay that each job's last pull to tell it told, in the order in which they were told.
    pub delays: Vec<DelayEntry>,
    /// How it read against the other bays of each job, by the job's last proposal.
    pub readings: Vec<ReadingEntry>,
    /// Readings of its lambda sensor in free air, oldest first.
    pub checks: Vec<SensorCheck>,
    /// What each request id came to.
    requests: HashMap<RequestId, BayOutcome>,
    record_count: u64,
}

/// A channel map with its circumstances.
#[derive(Debug, Clone, PartialEq)]
pub struct MapEntry {
    /// Its number within the bay.
    pub id: ChannelMapId,
    /// The map.
    pub map: ChannelMap,
    /// The map as its writer wrote it: TOML.
    pub text: String,
    /// Why it was set; empty where nobody said.
    pub reason: String,
    /// When it was set.
    pub at: UnixMillis,
    /// Who set it.
    pub by: Actor,
}

/// A reading of the bay's lambda sensor in free air.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorCheck {
    /// Oxygen that it showed, percent by volume.
    pub oxygen_percent: f64,
    /// What was done about it, or seen; empty where nobody said.
    pub notes: String,
    /// When it was read.
    pub at: UnixMillis,
    /// Who read it.
    pub by: Actor,
}

/// What a request about a bay came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BayOutcome {
    /// The bay got this channel map.
    MapSet(ChannelMapId),
    /// A pull told the bay's delay.
    DelayLearnt,
    /// A proposal compared the bay with others.
    ReadingCompared,
    /// The bay's sensor was read in free air.
    SensorChecked,
}

impl Fold for BayState {
    type Event = BayEvent;
    type Outcome = BayOutcome;

    fn begin(record: &BayRecord) -> Result<Self, FoldError> {
        let mut state = Self::default();
        state.take(record)?;
        Ok(state)
    }

    fn take(&mut self, record: &BayRecord) -> Result<(), FoldError> {
        match &record.event {
            BayEvent::ChannelMapSet {
                id,
                map,
                text,
                reason,
            } => {
                self.check_order(*id == self.next_map(), || format!("channel map {id}"))?;
                self.maps.push(MapEntry {
                    id: *id,
                    map: (**map).clone(),
                    text: text.clone(),
                    reason: reason.clone(),
                    at: record.at,
                    by: record.by.clone(),
                });
            }
            BayEvent::ReadingCompared {
                job,
                leaner_percent,
                standard_error_percent,
                ..
            } => {
                self.readings.retain(|entry| entry.job != *job);
                self.readings.push(ReadingEntry {
                    job: job.clone(),
                    leaner_percent: *leaner_percent,
                    standard_error_percent: *standard_error_percent,
                });
            }
            BayEvent::SensorChecked {
                oxygen_percent,
                notes,
            } => self.checks.push(SensorCheck {
                oxygen_percent: *oxygen_percent,
                notes: notes.clone(),
                at: record.at,
                by: record.by.clone(),
            }),
            BayEvent::DelayLearnt {
                job,
                displacement_cc,
                delay,
                ..
            } => {
                self.delays.retain(|entry| entry.job != *job);
                self.delays.push(DelayEntry {
                    job: job.clone(),
                    displacement_cc: *displacement_cc,
                    delay: *delay,
                });
            }
        }
        if let Some(id) = &record.request_id {
            let outcome = Self::outcome_of(&record.event);
            self.requests.insert(id.clone(), outcome);
        }
        self.record_count += 1;
        Ok(())
    }

    fn outcome_before(&self, request_id: &RequestId) -> Option<BayOutcome> {
        self.requests.get(request_id).copied()
    }

    fn outcome_of(event: &BayEvent) -> BayOutcome {
        match event {
            BayEvent::ChannelMapSet { id, .. } => BayOutcome::MapSet(*id),
            BayEvent::DelayLearnt { .. } => BayOutcome::DelayLearnt,
            BayEvent::ReadingCompared { .. } => BayOutcome::ReadingCompared,
            BayEvent::SensorChecked { .. } => BayOutcome::SensorChecked,
        }
    }
}

impl BayState {
    /// Returns the channel map in force, where the bay has one.
    pub fn map_in_force(&self) -> Option<&MapEntry> {
        self.maps.last()
    }

    /// Returns a channel map of the bay; none asks for the one in force.
    ///
    /// # Errors
    /// When the bay, called `bay`, has no such map.
    pub fn map(&self, bay: &BayName, id: Option<ChannelMapId>) -> Result<&MapEntry, Refusal> {
        let Some(latest) = self.map_in_force() else {
            return Err(Refusal::ChannelMapNone(bay.clone()));
        };
        let Some(id) = id else {
            return Ok(latest);
        };
        let index = (id.0 as usize).checked_sub(1);
        let found = index.and_then(|index| self.maps.get(index));
        found.ok_or_else(|| Refusal::ChannelMapUnknown {
            bay: bay.clone(),
            id,
            latest: latest.id,
        })
    }

    /// Returns the number that the next channel map gets.
    ///
    /// # Panics
    /// Never: the ledger takes fewer records.
    pub fn next_map(&self) -> ChannelMapId {
        let count = u32::try_from(self.maps.len()).expect("a bay has fewer than 2^32 of anything");
        ChannelMapId(count + 1)
    }

    /// Returns the number of records that told the bay.
    pub fn record_count(&self) -> u64 {
        self.record_count
    }

    fn check_order(&self, fits: bool, what: impl Fn() -> String) -> Result<(), FoldError> {
        if fits {
            return Ok(());
        }
        Err(FoldError::OutOfOrder {
            record: self.record_count,
            what: what(),
        })
    }
}

/// Returns the event that puts a channel map in force for the bay called `bay`.
///
/// # Errors
/// When the very same map is in force already, or the reason is too long.
pub fn set_channel_map(
    bay: &BayName,
    state: &BayState,
    map: &ChannelMap,
    text: &str,
    reason: &str,
) -> Result<BayEvent, Refusal> {
    let reason = reason.trim();
    if reason.len() > REASON_BYTES_MAX {
        return Err(Refusal::field(
            "reason",
            format!("is {} bytes long", reason.len()),
            format!("say it in {REASON_BYTES_MAX} bytes"),
        ));
    }
    if let Some(latest) = state.map_in_force()
        && latest.map == *map
        && latest.text == text
    {
        return Err(Refusal::ChannelMapInForce {
            bay: bay.clone(),
            id: latest.id,
        });
    }
    Ok(BayEvent::ChannelMapSet {
        id: state.next_map(),
        map: Box::new(map.clone()),
        text: text.to_owned(),
        reason: reason.to_owned(),
    })
}
