//! Canned answers about bays.

use baytrim_api::v1::{ChannelMap, MappedChannel};

use super::MOMENT;

/// The second channel map of the invented bay east.
pub(crate) fn channel_map() -> ChannelMap {
    let column = |quantity: &str, column: &str, unit: &str| MappedChannel {
        quantity: quantity.to_owned(),
        column: column.to_owned(),
        unit: unit.to_owned(),
    };
    ChannelMap {
        name: "bays/east/maps/m2".to_owned(),
        text:
            "[time]\nrate_hz = 50.0\n\n[channels.lambda]\ncolumn = \"AFR wide\"\nunit = \"afr\"\n"
                .to_owned(),
        in_force: true,
        create_time: Some(MOMENT),
        creator: "kim".to_owned(),
        reason: "new lambda meter".to_owned(),
        channels: vec![
            column("time", "", "s"),
            column("engine_speed", "Speed", "rpm"),
            column("lambda", "AFR wide", "afr"),
        ],
    }
}
