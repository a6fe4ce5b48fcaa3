//! The channels of an MDF file: their names, clocks and numbers.

use baytrim_model::channel::{Channel as MapChannel, ChannelMap};
use falcon_mdf::blocks::SyncType;
use falcon_mdf::model::{Channel, ChannelGroup, ValueKind};
use falcon_mdf::{Mf4Error, Mf4File};

use crate::error::IntakeError;
use crate::limits::LogLimits;
use crate::place::CellPlace;
use crate::wanted::{column_missing, has, wanted};

/// Where a channel is: data group, channel group and channel, each from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Place {
    data_group: usize,
    group: usize,
    channel: usize,
}

impl Place {
    /// Returns whether both channels have the same clock.
    pub(super) fn is_beside(self, other: Self) -> bool {
        self.data_group == other.data_group && self.group == other.group
    }
}

/// An MDF file.
pub(super) struct Source<'a> {
    pub name: &'a str,
    /// Whether its logger did not finish it.
    pub is_unfinished: bool,
    file: Mf4File,
    limits: &'a LogLimits,
    /// Each channel that is no clock, with the name that messages and maps call it by.
    named: Vec<(String, Place)>,
}

impl<'a> Source<'a> {
    /// Opens the file that `bytes` are.
    pub(super) fn open(
        bytes: Vec<u8>,
        name: &'a str,
        limits: &'a LogLimits,
    ) -> Result<Self, IntakeError> {
        let is_unfinished = bytes.starts_with(b"UnFinMF ");
        let file = super::open(bytes, limits).map_err(|error| damaged(name, error))?;
        let is_unfinished = is_unfinished || file.unfinalized().is_some();
        let mut named: Vec<(String, Place)> = Vec::new();
        for (data_group, one) in file.data_groups().iter().enumerate() {
            for (group, one) in one.channel_groups.iter().enumerate() {
                for (channel, one) in one.channels.iter().enumerate() {
                    let place = Place {
                        data_group,
                        group,
                        channel,
                    };
                    if !one.is_master() {
                        named.push((one.name.trim().to_owned(), place));
                    }
                }
            }
        }
        tell_apart(&mut named);
        Ok(Self {
            name,
            is_unfinished,
            file,
            limits,
            named,
        })
    }

    /// Returns the names of all channels that are no clock.
    pub(super) fn names(&self) -> Vec<String> {
        self.named.iter().map(|(name, _)| name.clone()).collect()
    }

    /// Returns where a channel is.
    pub(super) fn find(&self, column: &str) -> Option<Place> {
        let mut named = self.named.iter();
        let found = named.find(|(name, _)| name == column.trim());
        found.map(|(_, place)| *place)
    }

    /// Returns where a channel is that must be there.
    pub(super) fn find_one(&self, column: &str) -> Result<Place, IntakeError> {
        self.find(column)
            .ok_or_else(|| column_missing(&self.names(), 0, column, "a channel", self.name))
    }

    fn group(&self, place: Place) -> &ChannelGroup {
        &self.file.data_groups()[place.data_group].channel_groups[place.group]
    }

    fn channel(&self, place: Place) -> &Channel {
        &self.group(place).channels[place.channel]
    }

    /// Returns a channel's unit as the file states it.
    pub(super) fn unit(&self, place: Place) -> String {
        self.channel(place).unit.trim().to_owned()
    }

    /// Returns the readings that a channel's group is said to hold.
    pub(super) fn sample_count(&self, place: Place) -> u64 {
        self.group(place).sample_count
    }

    /// Returns whether a channel holds one number a reading.
    pub(super) fn is_numeric(&self, place: Place) -> bool {
        let channel = self.channel(place);
        let is_bus = self.group(place).is_bus_event();
        let is_number = |kind: ValueKind| !matches!(kind, ValueKind::Bytes | ValueKind::Complex);
        // A table of words turns numbers into words: the numbers are what is read.
        let is_word = channel.raw_value_kind() == ValueKind::Str;
        !is_bus && !channel.is_array() && !is_word && is_number(channel.raw_value_kind())
    }

    /// Returns the name of the clock of a channel.
    pub(super) fn clock_name(&self, place: Place) -> String {
        match self.group(place).master_channel() {
            Some(master) => master.name.trim().to_owned(),
            None => "time".to_owned(),
        }
    }

    /// Returns the times of a channel's readings in seconds, never going backwards.
    pub(super) fn times(&self, place: Place) -> Result<Vec<f64>, IntakeError> {
        let unsuited = |finding: String| IntakeError::Unsuited {
            source_name: self.name.to_owned(),
            finding,
            remedy: "record against time, or export the log as CSV with a time column",
        };
        let name = &self.channel(place).name;
        let Some(master) = self.group(place).master_channel() else {
            return Err(unsuited(format!("the channel \"{name}\" has no clock")));
        };
        if !matches!(master.sync_type, SyncType::Time | SyncType::None) {
            return Err(unsuited(
                format!(
                    "the channel \"{name}\" is recorded against {:?} and not against time",
                    master.sync_type
                )
                .to_lowercase(),
            ));
        }
        let times = self
            .file
            .signal(master)
            .and_then(|signal| signal.values_f64());
        let times = times.map_err(|error| damaged(self.name, error))?;
        let place = |index: usize| CellPlace {
            source_name: self.name.to_owned(),
            row: index as u64 + 1,
            column: master.name.trim().to_owned(),
        };
        if let Some(index) = times.iter().position(|time| !time.is_finite()) {
            return Err(IntakeError::TimeMissing {
                place: place(index),
            });
        }
        if let Some(index) = times.windows(2).position(|pair| pair[1] < pair[0]) {
            return Err(IntakeError::ClockBackwards {
                place: place(index + 1),
                value: times[index + 1],
                before: times[index],
            });
        }
        Ok(times)
    }

    /// Returns the numbers of a channel, NaN where the file says that a reading is not valid.
    pub(super) fn values(&self, place: Place) -> Result<Vec<f64>, IntakeError> {
        let channel = self.channel(place);
        let read = || {
            let signal = self.file.signal(channel)?;
            let mut values = if channel.value_kind() == ValueKind::Str {
                signal.raw_values()?.to_f64()
            } else {
                signal.values_f64()?
            };
            if let Some(validity) = signal.validity() {
                for (value, is_valid) in values.iter_mut().zip(validity) {
                    if !is_valid {
                        *value = f64::NAN;
                    }
                }
            }
            Ok(values)
        };
        let values: Vec<f64> = read().map_err(|error: Mf4Error| damaged(self.name, error))?;
        let time_count = self.group(place).sample_count;
        if values.len() as u64 == time_count {
            return Ok(values);
        }
        Err(damaged(
            self.name,
            Mf4Error::parse_error(format!("{} values for {time_count} times", values.len())),
        ))
    }

    /// Returns the numbers of a channel that a map names.
    pub(super) fn numbers(
        &self,
        place: Place,
        channel: &MapChannel,
    ) -> Result<Vec<f64>, IntakeError> {
        if self.is_numeric(place) {
            return self.values(place);
        }
        Err(IntakeError::Unsuited {
            source_name: self.name.to_owned(),
            finding: format!("the channel \"{}\" holds no numbers", channel.column.trim()),
            remedy: "name a channel of numbers in the channel map",
        })
    }

    /// Returns the complaint that the file holds bus frames, where the channels of `map` are not
    /// there and frames are.
    pub(super) fn bus_frames(&self, names: &[String], map: &ChannelMap) -> Option<IntakeError> {
        let lacks_one = map.problems("").is_empty()
            && wanted(map).iter().any(|wanted| !has(names, wanted.column));
        if lacks_one {
            self.bus_frames_only(names)
        } else {
            None
        }
    }

    /// Returns the complaint that the file holds bus frames, where it does.
    pub(super) fn bus_frames_only(&self, names: &[String]) -> Option<IntakeError> {
        let groups = self.file.data_groups().iter();
        let mut groups = groups.flat_map(|one| one.channel_groups.iter());
        if names.is_empty() || !groups.any(ChannelGroup::is_bus_event) {
            return None;
        }
        let unfinished = if self.is_unfinished {
            "an unfinished"
        } else {
            "an"
        };
        Some(IntakeError::Unsuited {
            source_name: self.name.to_owned(),
            finding: format!("is {unfinished} MDF file of bus frames and not of measured channels"),
            remedy: "decode the frames with the description of the bus (such as a DBC file) and export the channels",
        })
    }

    /// Refuses a file that claims more than it may hold in the groups that are to be read.
    pub(super) fn check_size<'c>(
        &self,
        channels: impl Iterator<Item = &'c MapChannel>,
        base: Place,
    ) -> Result<(), IntakeError> {
        let places = channels.filter_map(|channel| self.find(&channel.column));
        if self.sample_count(base) > self.limits.rows_max as u64 {
            return Err(IntakeError::TooManyRows {
                source_name: self.name.to_owned(),
                rows_max: self.limits.rows_max,
            });
        }
        self.check_places(places.chain([base]))
    }

    /// As [`Self::check_size`], for channels by place.
    pub(super) fn check_places(
        &self,
        places: impl Iterator<Item = Place>,
    ) -> Result<(), IntakeError> {
        let mut groups: Vec<Place> = Vec::new();
        let mut byte_count = 0_u64;
        for place in places {
            if groups.iter().any(|known| known.is_beside(place)) {
                continue;
            }
            groups.push(place);
            let data = &self.file.data_groups()[place.data_group];
            let group = &data.channel_groups[place.group];
            let record_bytes = group.record_size(data.rec_id_size()) as u64;
            let blocks = data.block_index().blocks().iter();
            let unpacked = blocks.fold(0_u64, |sum, block| sum.saturating_add(block.original_size));
            // Each reading is also held as a number or two.
            let claimed = group
                .sample_count
                .saturating_mul(record_bytes.max(16))
                .max(unpacked);
            byte_count = byte_count.saturating_add(claimed);
        }
        if byte_count > self.limits.bytes_max {
            return Err(IntakeError::TooManyBytes {
                source_name: self.name.to_owned(),
                bytes_max: self.limits.bytes_max,
            });
        }
        Ok(())
    }
}

/// Gives channels of one name in several groups the number of their group, from 1, after it.
fn tell_apart(named: &mut [(String, Place)]) {
    let mut groups = Vec::new();
    let mut counts = std::collections::HashMap::new();
    for (name, place) in named.iter() {
        *counts.entry(name.clone()).or_insert(0_usize) += 1;
        let group = (place.data_group, place.group);
        if !groups.contains(&group) {
            groups.push(group);
        }
    }
    for (name, place) in named.iter_mut() {
        if counts.get(name.as_str()).is_some_and(|count| *count > 1) {
            let group = (place.data_group, place.group);
            let number = groups.iter().position(|known| *known == group).unwrap_or(0) + 1;
            *name = format!("{name} (group {number})");
        }
    }
}

/// Says that a file cannot be made sense of.
pub(super) fn damaged(source_name: &str, error: Mf4Error) -> IntakeError {
    let source_name = source_name.to_owned();
    let unsuited = |source_name, finding| IntakeError::Unsuited {
        source_name,
        finding,
        remedy: "write it as MDF 4.10, or export the channels as CSV",
    };
    match error {
        Mf4Error::UnsupportedVersion { major, minor } => unsuited(
            source_name,
            format!("is an MDF file of version {major}.{minor:02}, and 4.00 to 4.20 are read"),
        ),
        Mf4Error::Unsupported { feature, .. } => unsuited(
            source_name,
            format!("the MDF file uses what is not read here: {feature}"),
        ),
        error => IntakeError::Damaged {
            source_name,
            format: "MDF",
            source: Box::new(error),
        },
    }
}
