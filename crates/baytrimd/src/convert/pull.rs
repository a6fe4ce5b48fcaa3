//! Pulls.

use baytrim_api::v1;
use baytrim_jobs::JobState;
use baytrim_jobs::pulls::Circumstances;
use baytrim_jobs::state::{Outcome, PullEntry};
use baytrim_model::axis::Axes;
use baytrim_model::ids::{Actor, BayName, UnixMillis};
use baytrim_model::pull::{
    ChannelMapSource, DelayFound, DelaySource, FilmBand, GateCount, PullSummary, Realised,
    SensorBand,
};
use baytrim_model::recording::Recording;

use super::time::timestamp;
use super::{name, power, vehicle};
use crate::fault::{Fault, InternalFault};
use crate::shop::Decided;

/// Returns a pull with its coverage.
pub fn whole(state: &JobState, pull: &PullEntry) -> v1::Pull {
    let (axes, summary) = (&state.spec.axes, &pull.record.summary);
    v1::Pull {
        coverage: coverage(axes, summary),
        realised: summary.realised.as_ref().map(|found| realised(axes, found)),
        recording: pull.record.recording.as_ref().map(recording),
        power: summary.power.as_ref().map(power::whole),
        ..brief(state, pull)
    }
}

/// Returns a pull without its coverage.
pub fn brief(state: &JobState, pull: &PullEntry) -> v1::Pull {
    let record = &pull.record;
    v1::Pull {
        name: name::pull(state.id(), record.id),
        bay: record.bay.to_string(),
        revision: record.revision.to_string(),
        mode: record
            .mode
            .as_ref()
            .map_or_else(String::new, ToString::to_string),
        grip_revision: record
            .grip_revision
            .map_or_else(String::new, |id| id.to_string()),
        source_name: record.source_name.clone(),
        log_sha256: record.log_blob.clone(),
        create_time: Some(timestamp(pull.at)),
        creator: pull.by.to_string(),
        channel_map_source: source(record.channels_from).into(),
        channel_map: channel_map(&record.bay, record.channels_from),
        stage: pull.stage.to_string(),
        ..of_summary(&record.summary)
    }
}

/// Returns the pull that a decision recorded.
///
/// # Errors
/// When the decision was about something else, which cannot be.
pub fn of_outcome(decided: &Decided) -> Result<v1::Pull, Fault> {
    let Outcome::Pull(id) = decided.outcome else {
        return Err(InternalFault::Impossible("a pull was recorded as something else").into());
    };
    let state = &decided.job.state;
    Ok(whole(state, state.pull(id)?))
}

/// Returns a pull that was only read, not recorded: without a name.
pub fn checked(
    axes: &Axes,
    circumstances: &Circumstances,
    source_name: &str,
    summary: &PullSummary,
    by: &Actor,
    at: UnixMillis,
) -> v1::Pull {
    v1::Pull {
        bay: circumstances.bay.to_string(),
        revision: circumstances.revision.to_string(),
        mode: circumstances
            .mode
            .as_ref()
            .map_or_else(String::new, ToString::to_string),
        grip_revision: circumstances
            .grip_revision
            .map_or_else(String::new, |id| id.to_string()),
        source_name: source_name.to_owned(),
        create_time: Some(timestamp(at)),
        creator: by.to_string(),
        channel_map_source: source(circumstances.channels_from).into(),
        channel_map: channel_map(&circumstances.bay, circumstances.channels_from),
        stage: circumstances
            .stage
            .map_or_else(String::new, |stage| stage.to_string()),
        coverage: coverage(axes, summary),
        realised: summary.realised.as_ref().map(|found| realised(axes, found)),
        power: summary.power.as_ref().map(power::whole),
        ..of_summary(summary)
    }
}

/// Returns how a log was recorded.
pub fn recording(found: &Recording) -> v1::Recording {
    let channels = found.channels.iter().map(|channel| v1::ChannelRecording {
        quantity: channel.quantity.to_string(),
        column: channel.column.clone(),
        missing_count: channel.missing_count,
        reading_low: channel.low,
        reading_high: channel.high,
        resolution: channel.resolution,
        hold_row_factor: channel.hold_rows,
    });
    v1::Recording {
        rows_per_s: found.rate_hz,
        jitter_s: found.jitter_s,
        longest_gap_s: found.gap_s_max,
        repeated_count: found.repeated_count,
        channels: channels.collect(),
    }
}

/// Returns what a gate refused.
pub fn gate(count: &GateCount) -> v1::GateCount {
    v1::GateCount {
        gate: count.gate.to_string(),
        sample_count: count.sample_count,
        refused_s: count.refused_s,
        sentence: count.gate.sentence().to_owned(),
    }
}

fn film(band: &FilmBand) -> v1::FilmBand {
    v1::FilmBand {
        start_rpm: band.from_rpm,
        end_rpm: band.to_rpm,
        difference_percent: band.difference_percent,
        standard_error_percent: band.standard_error_percent,
        tip_in_s: band.tip_in_s,
        tip_out_s: band.tip_out_s,
    }
}

fn sensors(band: &SensorBand) -> v1::SensorBand {
    let readings = band.leaner.iter().map(|reading| v1::SensorReading {
        sensor: reading.sensor.to_string(),
        difference_percent: reading.percent,
    });
    v1::SensorBand {
        start_rpm: band.from_rpm,
        end_rpm: band.to_rpm,
        read_s: band.read_s,
        readings: readings.collect(),
    }
}

fn source(from: Option<ChannelMapSource>) -> v1::ChannelMapSource {
    match from {
        None => v1::ChannelMapSource::Unspecified,
        Some(ChannelMapSource::Sent) => v1::ChannelMapSource::Sent,
        Some(ChannelMapSource::Job) => v1::ChannelMapSource::Job,
        Some(ChannelMapSource::Bay(_)) => v1::ChannelMapSource::Bay,
        Some(ChannelMapSource::Standard) => v1::ChannelMapSource::Standard,
    }
}

fn channel_map(bay: &BayName, from: Option<ChannelMapSource>) -> String {
    match from {
        Some(ChannelMapSource::Bay(id)) => name::channel_map(bay, id),
        _ => String::new(),
    }
}

fn of_summary(summary: &PullSummary) -> v1::Pull {
    let strip = summary.strip.iter();
    let warnings = summary.warnings.iter().map(|warning| v1::PullWarning {
        code: warning.code.clone(),
        message: warning.message.clone(),
    });
    let stays = summary.grip.as_ref().map_or(0, |grip| grip.stays.len());
    v1::Pull {
        stay_count: u32::try_from(stays).unwrap_or(u32::MAX),
        sample_count: summary.sample_count,
        duration_s: summary.duration_s,
        accepted_s: summary.accepted_s,
        refused: summary.refused.iter().map(gate).collect(),
        strip: strip
            .map(|gate| gate.map_or_else(String::new, |gate| gate.to_string()))
            .collect(),
        delay: Some(delay(&summary.delay)),
        warnings: warnings.collect(),
        film: summary.film.iter().map(film).collect(),
        sensors: summary.sensors.iter().map(sensors).collect(),
        realised: summary.realised.as_ref().map(realised_in_brief),
        power: summary.power.as_ref().map(power::brief),
        air: summary.air.as_ref().map(power::air),
        behaviour: summary.behaviour.as_ref().map(vehicle::behaviour),
        ..v1::Pull::default()
    }
}

fn realised(axes: &Axes, found: &Realised) -> v1::Realised {
    let nodes = found.nodes.iter().map(|node| {
        let (rpm, plate_percent) = axes.position(node.node);
        v1::RealisedNode {
            rpm,
            plate_percent,
            previous_lambda_ratio: node.previous_lambda,
            predicted_lambda_ratio: node.predicted_lambda,
            realised_lambda_ratio: node.realised_lambda,
            difference_error_percent: node.error_percent,
        }
    });
    v1::Realised {
        nodes: nodes.collect(),
        ..realised_in_brief(found)
    }
}

fn realised_in_brief(found: &Realised) -> v1::Realised {
    let loaded = found.loaded.iter().map(|loaded| v1::LoadedChance {
        revision: loaded.revision.to_string(),
        probability: loaded.probability,
    });
    v1::Realised {
        pulls: found.pulls.iter().map(ToString::to_string).collect(),
        previous_revision: found.previous.to_string(),
        loaded: loaded.collect(),
        realised_fraction: found.share.map(|found| found.share),
        realised_fraction_error: found.share.map_or(0.0, |found| found.standard_error),
        nodes: Vec::new(),
    }
}

fn coverage(axes: &Axes, summary: &PullSummary) -> Vec<v1::NodeCoverage> {
    let nodes = summary.coverage.iter().enumerate();
    let visited = nodes.filter(|(_, coverage)| coverage.dwell_s > 0.0);
    visited
        .map(|(node, coverage)| {
            let (rpm, plate_percent) = axes.position(node);
            v1::NodeCoverage {
                rpm,
                plate_percent,
                dwell_s: coverage.dwell_s,
                visits: coverage.visits,
            }
        })
        .collect()
}

fn delay(delay: &DelayFound) -> v1::Delay {
    let source = match delay.source {
        DelaySource::Given => v1::DelaySource::Given,
        DelaySource::Identified => v1::DelaySource::Identified,
        DelaySource::Prior => v1::DelaySource::Prior,
        DelaySource::Bay => v1::DelaySource::Bay,
    };
    v1::Delay {
        cycles: delay.model.cycles,
        gas_volume_l: delay.model.gas_volume_l,
        lag_s: delay.model.lag_s,
        cycles_error: delay.standard_error.cycles,
        gas_volume_error_l: delay.standard_error.gas_volume_l,
        lag_error_s: delay.standard_error.lag_s,
        source: source.into(),
        remark: delay.remark.clone(),
        typical_s: delay.typical.map(|typical| typical.delay_s),
        typical_error_s: delay
            .typical
            .map_or(0.0, |typical| typical.standard_error_s),
    }
}
