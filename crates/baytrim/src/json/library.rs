//! The library for scripts.

use baytrim_api::v1::{
    FindNearestResponse, LibraryEntry, LibrarySource, NearEntry, StartingTable, Vehicle,
};
use serde::Serialize;

use crate::name::short;

/// What a vehicle is.
#[derive(Debug, Serialize)]
pub(crate) struct VehicleJson<'a> {
    model: &'a str,
    generation: &'a str,
    parts: &'a [String],
}

impl<'a> From<&'a Vehicle> for VehicleJson<'a> {
    fn from(vehicle: &'a Vehicle) -> Self {
        Self {
            model: &vehicle.model,
            generation: &vehicle.generation,
            parts: &vehicle.parts,
        }
    }
}

/// The library.
#[derive(Debug, Serialize)]
pub(crate) struct LibraryJson<'a> {
    entries: Vec<EntryJson<'a>>,
}

impl<'a> LibraryJson<'a> {
    /// Returns the library's entries.
    pub(crate) fn new(entries: &'a [LibraryEntry]) -> Self {
        Self {
            entries: entries.iter().map(entry).collect(),
        }
    }
}

#[derive(Debug, Serialize)]
struct EntryJson<'a> {
    job: String,
    title: &'a str,
    vehicle: Option<VehicleJson<'a>>,
    revision: &'a str,
    proposal: &'a str,
    pulls: &'a [String],
    revision_time: Option<String>,
    node_count: u32,
    measured_node_count: u32,
}

fn entry(entry: &LibraryEntry) -> EntryJson<'_> {
    EntryJson {
        job: short(&entry.job),
        title: &entry.title,
        vehicle: entry.vehicle.as_ref().map(VehicleJson::from),
        revision: &entry.revision,
        proposal: &entry.proposal,
        pulls: &entry.pulls,
        revision_time: entry.revision_time.map(|time| time.to_string()),
        node_count: entry.node_count,
        measured_node_count: entry.measured_node_count,
    }
}

/// The entries of a job's kind.
#[derive(Debug, Serialize)]
pub(crate) struct NearestJson<'a> {
    job: &'a str,
    vehicle: Option<VehicleJson<'a>>,
    entries: Vec<NearJson<'a>>,
}

#[derive(Debug, Serialize)]
struct NearJson<'a> {
    #[serde(flatten)]
    entry: Option<EntryJson<'a>>,
    part_distance: u32,
    only_here: &'a [String],
    only_there: &'a [String],
    sentence: &'a str,
    chosen: bool,
}

impl<'a> NearestJson<'a> {
    /// Returns what is near `job`.
    pub(crate) fn new(job: &'a str, found: &'a FindNearestResponse) -> Self {
        Self {
            job,
            vehicle: found.vehicle.as_ref().map(VehicleJson::from),
            entries: found.entries.iter().map(near).collect(),
        }
    }
}

fn near(near: &NearEntry) -> NearJson<'_> {
    NearJson {
        entry: near.entry.as_ref().map(entry),
        part_distance: near.part_distance,
        only_here: &near.only_here,
        only_there: &near.only_there,
        sentence: &near.sentence,
        chosen: near.chosen,
    }
}

/// What a starting table was learnt from.
#[derive(Debug, Serialize)]
pub(crate) struct StartJson<'a> {
    sources: Vec<SourceJson<'a>>,
    level_percent: f64,
    shape_percent: f64,
    rough_percent: f64,
}

#[derive(Debug, Serialize)]
struct SourceJson<'a> {
    job: String,
    revision: &'a str,
    proposal: &'a str,
    pulls: &'a [String],
    record_count: u64,
    record_hash: &'a str,
}

impl<'a> From<&'a StartingTable> for StartJson<'a> {
    fn from(start: &'a StartingTable) -> Self {
        let source = |source: &'a LibrarySource| SourceJson {
            job: short(&source.job),
            revision: &source.revision,
            proposal: &source.proposal,
            pulls: &source.pulls,
            record_count: source.record_count,
            record_hash: &source.record_hash,
        };
        Self {
            sources: start.sources.iter().map(source).collect(),
            level_percent: start.level_percent,
            shape_percent: start.shape_percent,
            rough_percent: start.rough_percent,
        }
    }
}
