//! Logs and maps that several tests use.

use std::fmt::Write as _;
use std::io::{Read, Write as _};

use baytrim_intake::{
    Intake, IntakeError, LogLimits, parse_channel_map, read_log, standard_channels,
};
use baytrim_model::channel::{Channel, ChannelMap, Quantity, Unit};
use baytrim_model::engine::Fuel;

/// Returns a fuel whose stoichiometric ratio is 14.7.
pub(crate) fn fuel() -> Fuel {
    Fuel {
        name: "petrol".to_owned(),
        stoichiometric_afr: 14.7,
    }
}

/// Reads `bytes` under the standard map and limits.
pub(crate) fn read(bytes: &[u8]) -> Result<Intake, IntakeError> {
    read_with(bytes, &standard_channels())
}

/// Reads `bytes` under `map`.
pub(crate) fn read_with(bytes: &[u8], map: &ChannelMap) -> Result<Intake, IntakeError> {
    read_source(&mut &*bytes, map, &LogLimits::default())
}

/// Reads `source`.
pub(crate) fn read_source(
    source: &mut dyn Read,
    map: &ChannelMap,
    limits: &LogLimits,
) -> Result<Intake, IntakeError> {
    read_log(source, "log.csv", map, &fuel(), limits)
}

/// Returns the map of the tables of the independent writers, with further entries.
pub(crate) fn map_of_tables(more: &str) -> ChannelMap {
    let text = r#"
[channels.engine_speed]
column = "Engine speed"
unit = "rpm"
[channels.plate_angle]
column = "Throttle"
unit = "percent"
[channels.lambda]
column = "Lambda"
unit = "lambda"
"#;
    parse_channel_map(&format!("{text}{more}")).unwrap()
}

/// Time, and the two channels that only some of the tables have.
pub(crate) const TIMED_TYPES: &str = r#"
[time]
column = "Time"
[channels.coolant_temperature]
column = "Coolant"
unit = "celsius"
[channels.fuel_cut]
column = "Fuel cut"
unit = "flag"
"#;

/// Returns the standard map, altered.
pub(crate) fn altered(alter: impl FnOnce(&mut ChannelMap)) -> ChannelMap {
    let mut map = standard_channels();
    alter(&mut map);
    map
}

/// Returns the standard map with one channel's unit changed.
pub(crate) fn with_unit(quantity: Quantity, unit: Unit) -> ChannelMap {
    altered(|map| channel(map, quantity).unit = unit)
}

/// Returns a channel of `map`.
pub(crate) fn channel(map: &mut ChannelMap, quantity: Quantity) -> &mut Channel {
    map.channels.get_mut(&quantity).unwrap()
}

/// Packs `bytes` with gzip.
pub(crate) fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(bytes).unwrap();
    packer.finish().unwrap()
}

/// Packs `bytes` with zstd.
pub(crate) fn zstd(bytes: &[u8]) -> Vec<u8> {
    ruzstd::encoding::compress_to_vec(bytes, ruzstd::encoding::CompressionLevel::Fastest)
}

/// Returns a plain log of 20 rows at 10 Hz.
pub(crate) fn plain() -> String {
    let mut text = "offset_s,rpm,plate_percent,lambda\n".to_owned();
    for row in 0..20 {
        let time = f64::from(row) / 10.0;
        let rpm = 2000 + 50 * row;
        writeln!(text, "{time:.1},{rpm},{}.5,0.9{row:02}", 10 + row).unwrap();
    }
    text
}
