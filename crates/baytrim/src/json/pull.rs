//! Pulls for scripts.

use baytrim_api::v1::{
    ChannelMapSource, Delay, DelaySource, FilmBand, GateCount, NodeCoverage, Pull, PullWarning,
    SensorBand,
};
use serde::Serialize;

use super::power::{AirJson, PowerJson};
use super::proposal::some;
use super::realised::RealisedJson;
use super::recording::RecordingJson;
use super::vehicle::BehaviourJson;

use crate::name::{job_of, number, short};

/// A pull; coverage is left out of lists.
#[derive(Debug, Serialize)]
pub(crate) struct PullJson<'a> {
    id: Option<String>,
    job: &'a str,
    bay: &'a str,
    revision: &'a str,
    stage: &'a str,
    mode: Option<&'a str>,
    grip_revision: Option<&'a str>,
    stay_count: u32,
    source_name: &'a str,
    log_sha256: &'a str,
    create_time: Option<String>,
    creator: &'a str,
    channel_map_source: Option<&'static str>,
    channel_map: Option<String>,
    sample_count: u64,
    duration_s: f64,
    accepted_s: f64,
    refused: Vec<GateJson<'a>>,
    strip: Vec<Option<&'a str>>,
    delay: Option<DelayJson<'a>>,
    warnings: Vec<WarningJson<'a>>,
    film: Vec<FilmJson>,
    sensors: Vec<SensorsJson<'a>>,
    realised: Option<RealisedJson<'a>>,
    power: Option<PowerJson<'a>>,
    air: Option<AirJson>,
    behaviour: Option<BehaviourJson<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    recording: Option<RecordingJson<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    coverage: Option<Vec<CoverageJson>>,
}

/// Pulls of a job.
#[derive(Debug, Serialize)]
pub(crate) struct PullsJson<'a> {
    job: String,
    pulls: Vec<PullJson<'a>>,
}

#[derive(Debug, Serialize)]
struct GateJson<'a> {
    gate: &'a str,
    sample_count: u64,
    refused_s: f64,
    sentence: &'a str,
}

#[derive(Debug, Serialize)]
struct DelayJson<'a> {
    cycles: f64,
    gas_volume_l: f64,
    lag_s: f64,
    cycles_error: f64,
    gas_volume_error_l: f64,
    lag_error_s: f64,
    source: &'static str,
    remark: &'a str,
}

#[derive(Debug, Serialize)]
struct WarningJson<'a> {
    code: &'a str,
    message: &'a str,
}

#[derive(Debug, Serialize)]
struct FilmJson {
    start_rpm: f64,
    end_rpm: f64,
    difference_percent: f64,
    standard_error_percent: f64,
    tip_in_s: f64,
    tip_out_s: f64,
}

impl From<&FilmBand> for FilmJson {
    fn from(band: &FilmBand) -> Self {
        Self {
            start_rpm: band.start_rpm,
            end_rpm: band.end_rpm,
            difference_percent: band.difference_percent,
            standard_error_percent: band.standard_error_percent,
            tip_in_s: band.tip_in_s,
            tip_out_s: band.tip_out_s,
        }
    }
}

#[derive(Debug, Serialize)]
struct CoverageJson {
    rpm: f64,
    plate_percent: f64,
    dwell_s: f64,
    visits: u32,
}

impl<'a> PullJson<'a> {
    /// Returns a pull with its coverage; `job` is the job's short name, for a pull without a name.
    pub(crate) fn new(pull: &'a Pull, job: &'a str) -> Self {
        let coverage = Some(pull.coverage.iter().map(coverage).collect());
        Self {
            coverage,
            recording: pull.recording.as_ref().map(RecordingJson::from),
            ..Self::without_coverage(pull, job)
        }
    }

    fn without_coverage(pull: &'a Pull, job: &'a str) -> Self {
        Self {
            id: (!pull.name.is_empty()).then(|| short(&pull.name)),
            job: if pull.name.is_empty() {
                job
            } else {
                job_of(&pull.name)
            },
            bay: &pull.bay,
            revision: number(&pull.revision),
            stage: &pull.stage,
            mode: some(&pull.mode),
            grip_revision: some(&pull.grip_revision),
            stay_count: pull.stay_count,
            source_name: &pull.source_name,
            log_sha256: &pull.log_sha256,
            create_time: pull.create_time.map(|time| time.to_string()),
            creator: &pull.creator,
            channel_map_source: map_source(pull.channel_map_source()),
            channel_map: (!pull.channel_map.is_empty()).then(|| short(&pull.channel_map)),
            sample_count: pull.sample_count,
            duration_s: pull.duration_s,
            accepted_s: pull.accepted_s,
            refused: pull.refused.iter().map(gate).collect(),
            strip: pull
                .strip
                .iter()
                .map(|gate| Some(gate.as_str()).filter(|g| !g.is_empty()))
                .collect(),
            delay: pull.delay.as_ref().map(delay),
            warnings: pull.warnings.iter().map(warning).collect(),
            film: pull.film.iter().map(FilmJson::from).collect(),
            sensors: pull.sensors.iter().map(SensorsJson::from).collect(),
            realised: pull.realised.as_ref().map(RealisedJson::from),
            power: pull.power.as_ref().map(PowerJson::from),
            air: pull.air.as_ref().map(AirJson::from),
            behaviour: pull.behaviour.as_ref().map(BehaviourJson::from),
            recording: None,
            coverage: None,
        }
    }
}

/// How far the lambda sensors are apart in a band of speeds.
#[derive(Debug, Serialize)]
struct SensorsJson<'a> {
    start_rpm: f64,
    end_rpm: f64,
    read_s: f64,
    readings: Vec<SensorJson<'a>>,
}

#[derive(Debug, Serialize)]
struct SensorJson<'a> {
    sensor: &'a str,
    difference_percent: f64,
}

impl<'a> From<&'a SensorBand> for SensorsJson<'a> {
    fn from(band: &'a SensorBand) -> Self {
        let readings = band.readings.iter().map(|reading| SensorJson {
            sensor: &reading.sensor,
            difference_percent: reading.difference_percent,
        });
        Self {
            start_rpm: band.start_rpm,
            end_rpm: band.end_rpm,
            read_s: band.read_s,
            readings: readings.collect(),
        }
    }
}

impl<'a> PullsJson<'a> {
    /// Returns the pulls of `job`, with coverage where `is_whole`.
    pub(crate) fn new(job: &'a str, pulls: &'a [Pull], is_whole: bool) -> Self {
        let one = |pull| {
            if is_whole {
                PullJson::new(pull, job)
            } else {
                PullJson::without_coverage(pull, job)
            }
        };
        Self {
            job: job.to_owned(),
            pulls: pulls.iter().map(one).collect(),
        }
    }
}

fn map_source(source: ChannelMapSource) -> Option<&'static str> {
    match source {
        ChannelMapSource::Unspecified => None,
        ChannelMapSource::Sent => Some("sent"),
        ChannelMapSource::Job => Some("job"),
        ChannelMapSource::Bay => Some("bay"),
        ChannelMapSource::Standard => Some("standard"),
    }
}

fn gate(count: &GateCount) -> GateJson<'_> {
    GateJson {
        gate: &count.gate,
        sample_count: count.sample_count,
        refused_s: count.refused_s,
        sentence: &count.sentence,
    }
}

fn delay(delay: &Delay) -> DelayJson<'_> {
    DelayJson {
        cycles: delay.cycles,
        gas_volume_l: delay.gas_volume_l,
        lag_s: delay.lag_s,
        cycles_error: delay.cycles_error,
        gas_volume_error_l: delay.gas_volume_error_l,
        lag_error_s: delay.lag_error_s,
        source: match delay.source() {
            DelaySource::Unspecified => "unknown",
            DelaySource::Given => "given",
            DelaySource::Identified => "identified",
            DelaySource::Prior => "prior",
            DelaySource::Bay => "bay",
        },
        remark: &delay.remark,
    }
}

fn warning(warning: &PullWarning) -> WarningJson<'_> {
    WarningJson {
        code: &warning.code,
        message: &warning.message,
    }
}

fn coverage(node: &NodeCoverage) -> CoverageJson {
    CoverageJson {
        rpm: node.rpm,
        plate_percent: node.plate_percent,
        dwell_s: node.dwell_s,
        visits: node.visits,
    }
}
