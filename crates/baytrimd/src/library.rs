//! The library: looks through the shop's jobs, fetches what they teach, lets `baytrim-jobs` decide.

use std::sync::Arc;

use baytrim_estimate::PullEvidence;
use baytrim_jobs::kind::{Likeness, likeness};
use baytrim_jobs::library::{self, Lesson, SOURCES_MAX, Source};
use baytrim_jobs::refusal::LibraryRefusal;
use baytrim_jobs::{Fold as _, JobState, Refusal};
use baytrim_ledger::Store;
use baytrim_model::ids::{Actor, JobId};
use baytrim_model::library::{LibrarySource, Vehicle};
use baytrim_model::proposal::Proposal;
use baytrim_model::record::JobRecord;

use crate::clock;
use crate::convert::page::Page;
use crate::fault::{Fault, InternalFault};
use crate::limits::LIBRARY_JOBS_MAX;
use crate::shop::{JOB_PREFIX, Loaded, Shop, decode, stream_of};

/// Records that are read at a time.
const READ_RECORDS: usize = 64;

/// A job that teaches.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The job.
    pub job: Loaded,
    /// What it teaches.
    pub lesson: Lesson,
}

/// A job that teaches, as seen from another of its kind.
#[derive(Debug, Clone)]
pub struct Near {
    /// The job.
    pub entry: Entry,
    /// How far the vehicles are alike.
    pub likeness: Likeness,
    /// Whether a starting table is learnt from it where nobody says from which.
    pub is_chosen: bool,
}

/// Returns what a job teaches; none where it teaches nothing.
///
/// # Errors
/// The store's fault.
pub fn entry(shop: &Shop, id: &JobId) -> Result<Option<Entry>, Fault> {
    let Some(job) = shop.find_job(id)? else {
        return Ok(None);
    };
    let lesson = library::lesson(&job.state);
    Ok(lesson.ok().map(|lesson| Entry { job, lesson }))
}

/// Returns all jobs of the kind of `job` that teach, the nearest first, then the latest.
///
/// # Errors
/// When the job does not say what its vehicle is, or the store fails.
pub fn nearest(shop: &Shop, job: &Loaded) -> Result<Vec<Near>, Fault> {
    let here = &job.state.spec;
    if here.vehicle.is_none() {
        return Err(Refusal::from(LibraryRefusal::NoVehicle(here.id.clone())).into());
    }
    let kind = here.vehicle.as_ref().map(Vehicle::kind);
    let mut found = Vec::new();
    let (mut token, mut seen) = (String::new(), 0);
    loop {
        let page = Page::parse("library", i32::MAX, &token)?;
        let (ids, next) = shop.list::<JobId>(JOB_PREFIX, &page)?;
        seen += ids.len();
        for (id, head) in ids.iter().filter(|(id, _)| *id != here.id) {
            // What lists tell of a job is at hand; only those of the kind are folded.
            let vehicle = shop.brief(id, head)?.0.facts.vehicle;
            if vehicle.map(|vehicle| vehicle.kind()) != kind {
                continue;
            }
            let Some(entry) = entry(shop, id)? else {
                continue;
            };
            if let Some(likeness) = likeness(here, &entry.job.state.spec) {
                found.push(Near {
                    entry,
                    likeness,
                    is_chosen: false,
                });
            }
        }
        if next.is_empty() || seen >= LIBRARY_JOBS_MAX {
            break;
        }
        token = next;
    }
    let made_at = |near: &Near| near.entry.job.state.head().created_at;
    found.sort_by(|a, b| {
        let parts = a.likeness.distance().cmp(&b.likeness.distance());
        let (one, other) = (a.entry.job.state.id(), b.entry.job.state.id());
        parts.then(made_at(b).cmp(&made_at(a))).then(one.cmp(other))
    });
    let same = found.iter_mut().take(SOURCES_MAX);
    for near in same.filter(|near| near.likeness.distance() == 0) {
        near.is_chosen = true;
    }
    Ok(found)
}

/// Returns the starting table of a job that is learnt from the jobs `from`; from all of its kind with the same parts
/// where none is named.
///
/// # Errors
/// When there is none to learn from, one has nothing to teach or is of another kind, or evidence can't be had any
/// more.
pub fn start(shop: &Shop, job: &Loaded, from: &[JobId], by: &Actor) -> Result<Proposal, Fault> {
    let entries = if from.is_empty() {
        let near = nearest(shop, job)?.into_iter();
        let chosen = near.filter(|near| near.is_chosen);
        chosen.map(|near| near.entry).collect()
    } else {
        named(shop, job, from)?
    };
    let evidence = entries.iter().map(|entry| {
        let pulls = &entry.lesson.pulls;
        shop.evidence().of_pulls(&**shop.store(), &entry.job, pulls)
    });
    let evidence = evidence.collect::<Result<Vec<_>, Fault>>()?;
    let pairs = entries.iter().zip(&evidence);
    let mut sources: Vec<Source<'_>> = pairs
        .map(|(entry, evidence)| source(entry, evidence))
        .collect();
    sources.sort_by(|a, b| a.entry.job.cmp(&b.entry.job));
    shop.metrics().proposals_computed.inc();
    let valid_s = shop.access()?.policy().proposal_valid_s;
    Ok(library::start(
        &job.state,
        &sources,
        clock::now(),
        by,
        valid_s,
    )?)
}

fn named(shop: &Shop, job: &Loaded, from: &[JobId]) -> Result<Vec<Entry>, Fault> {
    if from.len() > SOURCES_MAX {
        return Err(Refusal::field(
            "from_jobs",
            format!("names {} jobs", from.len()),
            format!("name {SOURCES_MAX} at the most"),
        )
        .into());
    }
    let mut entries: Vec<Entry> = Vec::new();
    for id in from {
        if id == job.state.id() || entries.iter().any(|entry| entry.job.state.id() == id) {
            return Err(Refusal::field(
                "from_jobs",
                format!("{id} is the job itself, or named twice"),
                "name other jobs, each once",
            )
            .into());
        }
        // A job that there isn't is told as such.
        let there = shop.job(id)?;
        let lesson = library::lesson(&there.state);
        let untaught = |_| Refusal::from(LibraryRefusal::Untaught(id.clone()));
        entries.push(Entry {
            lesson: lesson.map_err(untaught)?,
            job: there,
        });
    }
    Ok(entries)
}

fn source<'a>(entry: &'a Entry, evidence: &'a [Arc<PullEvidence>]) -> Source<'a> {
    let state = &entry.job.state;
    Source {
        state,
        entry: LibrarySource {
            job: state.id().clone(),
            revision: state.head().id,
            proposal: entry.lesson.proposal,
            pulls: entry.lesson.pulls.clone(),
            record_count: entry.job.head.next_seq,
            record_hash: entry.job.head.hash.to_string(),
        },
        evidence: evidence.iter().map(|evidence| &**evidence).collect(),
    }
}

/// Returns a job as it was when a starting table was learnt from it.
///
/// # Errors
/// When its records are not those any more, or the store fails.
pub fn as_then(store: &dyn Store, entry: &LibrarySource) -> Result<JobState, Fault> {
    let stream = stream_of(&entry.job);
    let mut state: Option<JobState> = None;
    let mut from = 0;
    while from < entry.record_count {
        let records = store.read(&stream, from, READ_RECORDS)?;
        if records.is_empty() {
            break;
        }
        for record in records {
            if record.seq >= entry.record_count {
                break;
            }
            from = record.seq + 1;
            let decoded: JobRecord = decode(&record)?;
            let misfit = |source| InternalFault::Fold {
                stream: stream.to_string(),
                source,
            };
            match &mut state {
                Some(state) => state.take(&decoded).map_err(misfit)?,
                None => state = Some(JobState::begin(&decoded).map_err(misfit)?),
            }
            if from == entry.record_count && record.hash.to_string() == entry.record_hash {
                return state.ok_or_else(|| InternalFault::Impossible("a job of no record").into());
            }
        }
    }
    Err(Refusal::from(LibraryRefusal::Changed {
        job: entry.job.clone(),
        records: entry.record_count,
    })
    .into())
}
