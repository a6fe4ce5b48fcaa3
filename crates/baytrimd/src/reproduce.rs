//! Computing a recorded proposal again, from the raw logs as they came.

use baytrim_estimate::PullEvidence;
use baytrim_jobs::library::Source;
use baytrim_jobs::reproduce::{Comparison, compare};
use baytrim_jobs::{Fold as _, JobState, grip, propose};
use baytrim_ledger::{Hasher, Store};
use baytrim_model::ids::{JobId, ProposalId, PullId};
use baytrim_model::proposal::Proposal;
use baytrim_model::record::{JobEvent, JobRecord};

use crate::evidence;
use crate::fault::{Fault, InternalFault};
use crate::library;
use crate::shop::{decode, stream_of};

/// Records that are read at a time.
const READ_RECORDS: usize = 64;

/// A proposal computed again.
#[derive(Debug, Clone, PartialEq)]
pub struct Reproduction {
    /// The job as it was when the proposal was made.
    pub state: JobState,
    /// The proposal as it was recorded.
    pub recorded: Proposal,
    /// The proposal as it comes out now.
    pub again: Proposal,
    /// Its pulls, each with whether its log still says the very same evidence.
    pub pulls: Vec<(PullId, bool)>,
    /// How the two differ.
    pub comparison: Comparison,
}

/// Computes a proposal again: the job as it was then, its logs read anew, nothing from memory or cache.
///
/// # Errors
/// When there is no such proposal, a log is gone, or the store fails.
pub fn reproduce(store: &dyn Store, id: &JobId, number: ProposalId) -> Result<Reproduction, Fault> {
    let (state, recorded) = as_of(store, id, number)?;
    if recorded.start.is_some() {
        return start_again(store, state, recorded);
    }
    let mut pulls = Vec::with_capacity(recorded.pulls.len());
    let mut evidence: Vec<PullEvidence> = Vec::with_capacity(recorded.pulls.len());
    for &pull in &recorded.pulls {
        let entry = state.pull(pull)?;
        let read = evidence::read_again(store, &state, entry)?;
        let mut hasher = Hasher::new();
        hasher.update(&evidence::encode(&read)?);
        let is_same = hasher.finish().to_string() == entry.record.evidence_blob;
        pulls.push((pull, is_same));
        evidence.push(read);
    }
    let evidence: Vec<&PullEvidence> = evidence.iter().collect();
    let (of, at, by) = (&recorded.pulls, recorded.created_at, &recorded.created_by);
    let again = match recorded.table.mode() {
        None => propose::plan(&state, of, &evidence, at, by, recorded.valid_s)?,
        Some(mode) => grip::plan(&state, mode, of, at, by, recorded.valid_s)?,
    };
    let comparison = compare(&recorded, &again);
    Ok(Reproduction {
        state,
        recorded,
        again,
        pulls,
        comparison,
    })
}

/// Computes a starting table again: the jobs behind it as they were then, their logs read anew.
fn start_again(
    store: &dyn Store,
    state: JobState,
    recorded: Proposal,
) -> Result<Reproduction, Fault> {
    let mut kept = Vec::new();
    for entry in recorded.start.iter().flat_map(|start| &start.sources) {
        let source = library::as_then(store, entry)?;
        let mut evidence = Vec::new();
        for &pull in &entry.pulls {
            let pull = source.pull(pull)?;
            evidence.push(evidence::read_again(store, &source, pull)?);
        }
        kept.push((entry, source, evidence));
    }
    let sources = kept.iter().map(|(entry, source, evidence)| Source {
        state: source,
        entry: (*entry).clone(),
        evidence: evidence.iter().collect(),
    });
    let sources: Vec<Source<'_>> = sources.collect();
    let (at, by) = (recorded.created_at, &recorded.created_by);
    let again = baytrim_jobs::library::start(&state, &sources, at, by, recorded.valid_s)?;
    let comparison = compare(&recorded, &again);
    drop(sources);
    drop(kept);
    Ok(Reproduction {
        state,
        recorded,
        again,
        pulls: Vec::new(),
        comparison,
    })
}

/// Returns the job as it was before the record of a proposal, and the proposal.
fn as_of(store: &dyn Store, id: &JobId, number: ProposalId) -> Result<(JobState, Proposal), Fault> {
    let stream = stream_of(id);
    let mut state: Option<JobState> = None;
    let mut from = 0;
    loop {
        let records = store.read(&stream, from, READ_RECORDS)?;
        let Some(last) = records.last() else {
            let unknown = match state {
                None => baytrim_jobs::Refusal::JobUnknown(id.to_string()),
                Some(state) => match state.proposal(number) {
                    Err(refusal) => refusal,
                    Ok(_) => {
                        return Err(InternalFault::Impossible(
                            "a proposal is folded from a record that is not there",
                        )
                        .into());
                    }
                },
            };
            return Err(unknown.into());
        };
        from = last.seq + 1;
        for record in &records {
            let decoded: JobRecord = decode(record)?;
            let misfit = |source| InternalFault::Fold {
                stream: stream.to_string(),
                source,
            };
            match (&mut state, decoded.event.clone()) {
                (Some(state), JobEvent::ProposalMade { proposal }) if proposal.id == number => {
                    return Ok((state.clone(), *proposal));
                }
                (Some(state), _) => state.take(&decoded).map_err(misfit)?,
                (None, _) => state = Some(JobState::begin(&decoded).map_err(misfit)?),
            }
        }
    }
}
