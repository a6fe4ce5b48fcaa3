//! The job file: what a tuner writes to open a job.

mod fuel;
mod grid;
mod grip_tables;
mod raw;

use std::collections::BTreeMap;

use baytrim_model::axis::{Axes, Axis};
use baytrim_model::bay::{BaySetup, DelayChoice};
use baytrim_model::channel::ChannelMap;
use baytrim_model::field::FieldError;
use baytrim_model::ids::{BayName, JobId, slug_of_title};
use baytrim_model::job::JobSpec;
use baytrim_model::table::{BaseTable, TableContent};

use raw::{BayFile, ChannelsFile, ContentName, DelayFile, JobFile, TableFile};

/// A job file with all that can be said, commented; the one that `baytrim job example` prints.
pub const EXAMPLE: &str = include_str!("job_file/example.toml");

/// Files that a job file names, by the name that it writes.
pub type Attachments = BTreeMap<String, Vec<u8>>;

/// Returns the job that `text` opens; `id`, where given, takes the place of the file's own.
///
/// # Errors
/// Names every field that is wrong, not only the first, as far as the file can be read.
pub fn parse(
    text: &str,
    attachments: &Attachments,
    id: Option<JobId>,
) -> Result<JobSpec, Vec<FieldError>> {
    let mut file: JobFile = from_toml(text, "").map_err(|error| vec![error])?;
    let mut errors = Vec::new();
    let id = id.or_else(|| keep(&mut errors, file_id(&file)));
    let rpm = keep(&mut errors, Axis::new("axes.rpm", file.axes.rpm.clone()));
    let plate = Axis::new("axes.plate_percent", file.axes.plate_percent.clone());
    let plate = keep(&mut errors, plate);
    let grip = grip_tables::tables(std::mem::take(&mut file.grip), &mut errors);
    let bays = bays(&file.bays, attachments, &mut errors);
    let content = keep(&mut errors, content(&file.table));
    let fuel = keep(&mut errors, fuel::fuel(&file.fuel));
    let (Some(id), Some(rpm), Some(plate_percent), Some(fuel)) = (id, rpm, plate, fuel) else {
        return Err(errors);
    };
    let axes = Axes { rpm, plate_percent };
    let values = grid::values("table", &file.table.grid(), &axes, attachments);
    let target = grid::values("target", &file.target.grid(), &axes, attachments);
    let values = keep(&mut errors, values);
    let target_lambda = keep(&mut errors, target);
    let (Some(content), Some(values), Some(target_lambda)) = (content, values, target_lambda)
    else {
        return Err(errors);
    };
    let resolution = file.table.resolution;
    let spec = JobSpec {
        id,
        title: file.name,
        notes: file.notes,
        vehicle: file.vehicle,
        engine: file.engine,
        fuel,
        axes,
        table: BaseTable {
            content,
            resolution: resolution.unwrap_or_else(|| content.usual_resolution()),
            values,
        },
        target_lambda,
        limits: file.limits,
        gates: file.gates,
        power: file.power,
        overrun: file.overrun,
        secondary_air: file.secondary_air,
        bays,
        grip,
    };
    errors.extend(spec.problems());
    if errors.is_empty() {
        Ok(spec)
    } else {
        Err(errors)
    }
}

/// Reads TOML, turning a complaint of the parser into one that names the line.
fn from_toml<T: serde::de::DeserializeOwned>(text: &str, file: &str) -> Result<T, FieldError> {
    toml::from_str(text).map_err(|error| {
        let start = error.span().map_or(0, |span| span.start.min(text.len()));
        let line = text[..start].matches('\n').count() + 1;
        let place = match file {
            "" => format!("line {line}"),
            name => format!("{name}, line {line}"),
        };
        FieldError::new(
            place,
            error.message().replace('\n', " "),
            "see `baytrim job example` for every key and its form",
        )
    })
}

/// Keeps a good value, files the complaint about a bad one.
fn keep<T>(errors: &mut Vec<FieldError>, result: Result<T, FieldError>) -> Option<T> {
    result.map_err(|error| errors.push(error)).ok()
}

fn file_id(file: &JobFile) -> Result<JobId, FieldError> {
    match &file.id {
        Some(id) => id.parse().map_err(|error: FieldError| FieldError {
            field: "id".to_owned(),
            ..error
        }),
        None => slug_of_title(&file.name),
    }
}

fn content(table: &TableFile) -> Result<TableContent, FieldError> {
    let content = match table.content {
        ContentName::Percent => TableContent::Percent,
        ContentName::Factor => TableContent::Factor,
        ContentName::VolumetricEfficiency => TableContent::VolumetricEfficiency,
        ContentName::EffectiveTimeMs => TableContent::EffectiveTimeMs,
        ContentName::TotalTimeMs => {
            let dead_time_ms = table.dead_time_ms.ok_or_else(|| {
                FieldError::new(
                    "table.dead_time_ms",
                    "is missing",
                    "give the injector's dead time: fuel follows what exceeds it, and a plain factor would overshoot at idle",
                )
            })?;
            return Ok(TableContent::TotalTimeMs { dead_time_ms });
        }
    };
    if table.dead_time_ms.is_some() {
        return Err(FieldError::new(
            "table.dead_time_ms",
            "is given for a table that is no total pulse width",
            "leave it out, or write content = \"total_time_ms\"",
        ));
    }
    Ok(content)
}

fn bays(
    file: &BTreeMap<String, BayFile>,
    attachments: &Attachments,
    errors: &mut Vec<FieldError>,
) -> BTreeMap<BayName, BaySetup> {
    let mut bays = BTreeMap::new();
    for (name, bay) in file {
        let path = format!("bays.{name}");
        let key = name.parse().map_err(|error: FieldError| FieldError {
            field: path.clone(),
            ..error
        });
        let delay = keep(errors, delay(&path, &bay.delay));
        let channels = channels(&path, bay.channels.as_ref(), attachments, errors);
        if let (Some(key), Some(delay)) = (keep(errors, key), delay) {
            let roller = bay.roller;
            let setup = BaySetup {
                delay,
                channels,
                roller,
            };
            bays.insert(key, setup);
        }
    }
    bays
}

fn delay(path: &str, file: &DelayFile) -> Result<DelayChoice, FieldError> {
    match file {
        DelayFile::Word(word) if word == "identify" => Ok(DelayChoice::Identify),
        DelayFile::Word(word) => Err(FieldError::new(
            format!("{path}.delay"),
            format!("{word:?} is not a delay"),
            "write \"identify\", or { cycles = …, gas_volume_l = …, lag_s = … }",
        )),
        DelayFile::Given(model) => Ok(DelayChoice::Given(*model)),
    }
}

fn channels(
    path: &str,
    file: Option<&ChannelsFile>,
    attachments: &Attachments,
    errors: &mut Vec<FieldError>,
) -> Option<ChannelMap> {
    let field = format!("{path}.channels");
    let map = match file? {
        ChannelsFile::Inline(map) => (**map).clone(),
        ChannelsFile::File(name) => {
            let text = keep(errors, grid::attached_text(&field, name, attachments))?;
            keep(errors, from_toml(text, name))?
        }
    };
    errors.extend(map.problems(&field));
    Some(map)
}
