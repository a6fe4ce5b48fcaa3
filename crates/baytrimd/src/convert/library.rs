//! The library.

use baytrim_api::v1;
use baytrim_jobs::Refusal;
use baytrim_model::ids::JobId;

use super::time::timestamp;
use super::{job, name};
use crate::library::{Entry, Near};

/// Returns an entry, with the number of nodes that its pulls were at.
pub fn entry(entry: &Entry) -> v1::LibraryEntry {
    let state = &entry.job.state;
    let spec = &state.spec;
    let head = state.head();
    let count = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
    let pulls = entry
        .lesson
        .pulls
        .iter()
        .filter_map(|&id| state.pull(id).ok());
    let mut visited = vec![false; spec.axes.node_count()];
    for pull in pulls {
        for (slot, node) in visited.iter_mut().zip(&pull.record.summary.coverage) {
            *slot |= node.visits > 0;
        }
    }
    v1::LibraryEntry {
        job: name::job(&spec.id),
        title: spec.title.clone(),
        vehicle: spec.vehicle.as_ref().map(job::vehicle),
        engine: Some(job::engine(&spec.engine)),
        revision: head.id.to_string(),
        proposal: entry.lesson.proposal.to_string(),
        pulls: entry.lesson.pulls.iter().map(ToString::to_string).collect(),
        revision_time: Some(timestamp(head.created_at)),
        node_count: count(visited.len()),
        measured_node_count: count(visited.iter().filter(|visited| **visited).count()),
    }
}

/// Returns an entry as seen from a job.
pub fn near(near: &Near) -> v1::NearEntry {
    let likeness = &near.likeness;
    v1::NearEntry {
        entry: Some(entry(&near.entry)),
        part_distance: u32::try_from(likeness.distance()).unwrap_or(u32::MAX),
        only_here: likeness.only_here.clone(),
        only_there: likeness.only_there.clone(),
        sentence: likeness.sentence(),
        chosen: near.is_chosen,
    }
}

/// Returns the jobs that a request names.
///
/// # Errors
/// Names the first that is no job's name.
pub fn from_jobs(names: &[String]) -> Result<Vec<JobId>, Refusal> {
    let names = names.iter().enumerate();
    names
        .map(|(index, text)| name::parse_job(&format!("from_jobs[{index}]"), text))
        .collect()
}
