//! Canned answers about bays and what they record.

use baytrim_api::v1::{
    Bay, BayComparison, ChannelMap, ChannelRecording, Delay, DelaySource, LearntDelay,
    MappedChannel, Recording, SensorCheck,
};

use super::MOMENT;

/// The invented bay east.
pub(crate) fn bay() -> Bay {
    Bay {
        name: "bays/east".to_owned(),
        channel_map: "bays/east/maps/m2".to_owned(),
        delays: vec![LearntDelay {
            job: "jobs/quoll-1".to_owned(),
            displacement_cc: 650.0,
            cycles: 1.13,
            gas_volume_l: 1.31,
            lag_s: 0.081,
            cycles_error: 0.21,
            gas_volume_error_l: 0.24,
            lag_error_s: 0.012,
        }],
        leaner_percent: Some(1.8),
        leaner_error_percent: 0.5,
        comparisons: vec![BayComparison {
            job: "jobs/quoll-1".to_owned(),
            leaner_percent: 1.8,
            standard_error_percent: 0.5,
        }],
        sensor_checks: vec![SensorCheck {
            oxygen_percent: 20.4,
            notes: "warmed up for 2 minutes".to_owned(),
            create_time: Some(MOMENT),
            creator: "kim".to_owned(),
        }],
        sensor_due: vec![
            "its lambda sensor was read in free air 41 days ago; again every 30".to_owned(),
        ],
    }
}

/// The delay that a pull told.
pub(crate) fn delay() -> Delay {
    Delay {
        typical_s: Some(0.142),
        typical_error_s: 0.011,
        cycles: 1.21,
        gas_volume_l: 2.08,
        lag_s: 0.083,
        cycles_error: 0.12,
        gas_volume_error_l: 0.31,
        lag_error_s: 0.009,
        source: DelaySource::Identified.into(),
        remark: "Four fuel cuts told it.".to_owned(),
    }
}

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

/// How the second pull was recorded.
pub(crate) fn recording() -> Recording {
    let channel = |quantity: &str, column: &str, low, high, resolution| ChannelRecording {
        quantity: quantity.to_owned(),
        column: column.to_owned(),
        missing_count: 0,
        reading_low: Some(low),
        reading_high: Some(high),
        resolution: Some(resolution),
        hold_row_factor: Some(1.25),
    };
    Recording {
        rows_per_s: 100.0,
        jitter_s: 0.00025,
        longest_gap_s: 0.031,
        repeated_count: 12,
        channels: vec![
            channel("engine_speed", "Speed", 1480.5, 9120.0, 0.25),
            channel("lambda", "AFR wide", 0.79, 1.42, 0.001),
            ChannelRecording {
                quantity: "purge".to_owned(),
                column: "EVAP".to_owned(),
                missing_count: 20_401,
                ..ChannelRecording::default()
            },
        ],
    }
}
