//! The project's own column names.

use std::collections::BTreeMap;

use baytrim_model::channel::{
    Channel, ChannelMap, EvidenceKind, Quantity, RepeatedTime, TimeChannel, Unit,
};

/// The project's own column names, each with its quantity; the unit is that of samples.
pub const STANDARD_COLUMNS: [(Quantity, &str); 24] = [
    (Quantity::EngineSpeed, "rpm"),
    (Quantity::PlateAngle, "plate_percent"),
    (Quantity::Lambda, "lambda"),
    (Quantity::CoolantTemperature, "coolant_c"),
    (Quantity::ShortTermTrim, "short_term_trim_percent"),
    (Quantity::LongTermTrim, "long_term_trim_percent"),
    (Quantity::FuelCut, "fuel_cut"),
    (Quantity::ShiftCut, "shift_cut"),
    (Quantity::SensorReady, "sensor_ready"),
    (Quantity::IntakeTemperature, "intake_c"),
    (Quantity::ManifoldPressure, "manifold_kpa"),
    (Quantity::AmbientPressure, "ambient_kpa"),
    (Quantity::GripAngle, "grip_percent"),
    (Quantity::TorqueCut, "torque_cut"),
    (Quantity::SecondaryAir, "secondary_air"),
    (Quantity::ClosedLoop, "closed_loop"),
    (Quantity::Purge, "purge_percent"),
    (Quantity::Lambda2, "lambda_2"),
    (Quantity::Lambda3, "lambda_3"),
    (Quantity::Lambda4, "lambda_4"),
    (Quantity::RollerSpeed, "roller_rpm"),
    (Quantity::RollerTorque, "roller_nm"),
    (Quantity::RelativeHumidity, "humidity_percent"),
    (Quantity::AmbientTemperature, "ambient_c"),
];

/// The project's own name of the time column, in seconds.
pub const STANDARD_TIME_COLUMN: &str = "offset_s";

/// Returns the channel map of logs that carry the project's own column names: `offset_s`, `rpm`,
/// `plate_percent` and `lambda` must be there, the others are used where they are.
pub fn standard_channels() -> ChannelMap {
    let required = [
        Quantity::EngineSpeed,
        Quantity::PlateAngle,
        Quantity::Lambda,
    ];
    let channels: BTreeMap<Quantity, Channel> = STANDARD_COLUMNS
        .iter()
        .map(|&(quantity, column)| {
            let mut channel = Channel::new(column, quantity.units()[0]);
            channel.optional = !required.contains(&quantity);
            (quantity, channel)
        })
        .collect();
    ChannelMap {
        time: TimeChannel {
            column: Some(STANDARD_TIME_COLUMN.to_owned()),
            unit: Unit::S,
            rate_hz: None,
            repeated: RepeatedTime::Refuse,
        },
        channels,
        evidence: EvidenceKind::Lambda,
    }
}
