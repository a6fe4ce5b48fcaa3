//! Reads ASAM MDF 4 files.

mod channels;

use std::io::Read;

use baytrim_model::channel::{Channel, ChannelMap, EvidenceKind, Quantity, TimeChannel, Unit};
use baytrim_model::pull::PullWarning;
use falcon_mdf::{Mf4File, OpenOptions};

use crate::align::{Between, align};
use crate::bytes::Gauge;
use crate::columns::{ColumnLog, Fetched, assemble_columns, check_names};
use crate::error::IntakeError;
use crate::limits::LogLimits;
use crate::read::LogJob;
use crate::report::{Alignment, Intake, LogFormat};
use crate::suggest::table::{CELLS_MAX, RawColumn, RawTable};
use channels::{Place, Source};

/// Reads `bytes`, which begin as an MDF file does.
///
/// Channels of several groups are brought onto the clock of the channel that speaks of fuel need.
pub(crate) fn read_mdf(bytes: impl Read, job: &LogJob<'_>) -> Result<Intake, IntakeError> {
    let source = Source::open(
        whole(bytes, job.gauge, job.source_name)?,
        job.source_name,
        job.limits,
    )?;
    // The file has its own clocks, in seconds by its standard: the map's time column is not asked for.
    let mut map = job.map.clone();
    map.time = TimeChannel {
        column: None,
        unit: Unit::S,
        rate_hz: Some(1.0),
        repeated: job.map.time.repeated,
    };
    let names = source.names();
    if let Some(frames) = source.bus_frames(&names, &map) {
        return Err(frames);
    }
    check_names(&names, &map, job.source_name)?;
    let base = base(&source, &map)?;
    let base_times = source.times(base)?;
    map.time.column = Some(source.clock_name(base));
    map.time.rate_hz = None;
    source.check_size(map.channels.values(), base)?;
    let log = ColumnLog {
        format: LogFormat::Mdf4,
        names,
        times: Some(base_times.clone()),
        row_count: 0,
        map: &map,
    };
    let mut intake = assemble_columns(job, &log, |channel| {
        fetch(&source, channel, base, &base_times)
    })?;
    if source.is_unfinished {
        intake.report.warnings.push(PullWarning {
            code: "unfinished_file".to_owned(),
            message: "the file was not finished by its logger, as after a power failure: what was written is read, and its end may be missing".to_owned(),
        });
    }
    Ok(intake)
}

/// Looks at `bytes`, which begin as an MDF file does, without a channel map: all channels on the
/// clock of the fastest group.
pub(crate) fn preview_mdf(
    bytes: impl Read,
    limits: &LogLimits,
    gauge: &Gauge,
    source_name: &str,
) -> Result<RawTable, IntakeError> {
    let source = Source::open(whole(bytes, gauge, source_name)?, source_name, limits)?;
    let names = source.names();
    let numeric: Vec<(&String, Place)> = names
        .iter()
        .filter_map(|name| Some((name, source.find(name)?)))
        .filter(|(_, place)| source.is_numeric(*place))
        .collect();
    if let Some(frames) = source.bus_frames_only(&names) {
        return Err(frames);
    }
    let Some(&(_, fastest)) = numeric
        .iter()
        .max_by_key(|(_, place)| source.sample_count(*place))
    else {
        return Err(IntakeError::Unsuited {
            source_name: source_name.to_owned(),
            finding: "the MDF file holds no channel of numbers".to_owned(),
            remedy: "export the measured channels",
        });
    };
    source.check_places(numeric.iter().map(|(_, place)| *place))?;
    let mut times = source.times(fastest)?;
    let rows_max = (CELLS_MAX / (numeric.len() + 1)).max(1);
    let is_cut = times.len() > rows_max;
    times.truncate(rows_max);
    let mut columns = vec![RawColumn {
        name: source.clock_name(fastest),
        unit: Some("s".to_owned()),
        values: times.clone(),
        is_clock: true,
        ..RawColumn::default()
    }];
    for (name, place) in numeric {
        let values = source.values(place)?;
        let is_flag = values
            .iter()
            .all(|value| value.is_nan() || *value == 0.0 || (*value - 1.0).abs() < 1e-9);
        let between = if is_flag {
            Between::Last
        } else {
            Between::Line
        };
        let values = if place.is_beside(fastest) {
            values[..times.len()].to_vec()
        } else {
            align(&source.times(place)?, &values, &times, between)
        };
        columns.push(RawColumn {
            name: name.clone(),
            unit: Some(source.unit(place)),
            values,
            ..RawColumn::default()
        });
    }
    Ok(RawTable {
        rows: (1..=times.len() as u64).collect(),
        is_cut,
        columns,
    })
}

fn whole(mut bytes: impl Read, gauge: &Gauge, source_name: &str) -> Result<Vec<u8>, IntakeError> {
    let mut all = Vec::new();
    match bytes.read_to_end(&mut all) {
        Ok(_) => Ok(all),
        Err(error) => Err(gauge.explain(source_name, error)),
    }
}

/// Returns the channel whose clock is that of samples: lambda, else a trim, so that what speaks of
/// fuel need stays as it was read.
fn base(source: &Source<'_>, map: &ChannelMap) -> Result<Place, IntakeError> {
    let evidence: &[Quantity] = match map.evidence {
        EvidenceKind::Trims => &[Quantity::ShortTermTrim, Quantity::LongTermTrim],
        EvidenceKind::Lambda | EvidenceKind::LambdaAndTrims => &[Quantity::Lambda],
    };
    let needed = evidence.iter().chain(&[Quantity::EngineSpeed]);
    let mut channels = needed.filter_map(|quantity| map.channels.get(quantity));
    let place = channels.find_map(|channel| source.find(&channel.column));
    place.ok_or_else(|| IntakeError::Empty {
        source_name: source.name.to_owned(),
    })
}

fn fetch(
    source: &Source<'_>,
    channel: &Channel,
    base: Place,
    times_s: &[f64],
) -> Result<Fetched, IntakeError> {
    let place = source.find_one(&channel.column)?;
    let values = source.numbers(place, channel)?;
    if place.is_beside(base) && values.len() == times_s.len() {
        return Ok(Fetched {
            values,
            alignment: Alignment::AsLogged,
        });
    }
    let is_flag = channel.unit == Unit::Flag;
    let (between, alignment) = if is_flag {
        (Between::Last, Alignment::Held)
    } else {
        (Between::Line, Alignment::Linear)
    };
    Ok(Fetched {
        values: align(&source.times(place)?, &values, times_s, between),
        alignment,
    })
}

/// Options within `limits`.
fn options(limits: &LogLimits) -> OpenOptions {
    OpenOptions {
        build_channels_db: false,
        parallel_parsing: false,
        max_decompressed: limits.bytes_max,
        ..OpenOptions::default()
    }
}

/// Opens a file in memory.
fn open(bytes: Vec<u8>, limits: &LogLimits) -> falcon_mdf::Result<Mf4File> {
    Mf4File::from_bytes_with_options(bytes, options(limits))
}
