//! What a list tells of a job: little enough to be kept beside the ledger for each of ten thousand.

use std::collections::BTreeSet;

use baytrim_model::engine::{Engine, Fuel};
use baytrim_model::ids::{Actor, BayName, JobId, ProposalId, RevisionId, StageId, UnixMillis};
use baytrim_model::job::JobSpec;
use baytrim_model::library::Vehicle;
use baytrim_model::table::TableContent;
use serde::{Deserialize, Serialize};

use crate::standing::JobStanding;
use crate::state::{JobState, ProposalEntry};

/// What a job was opened with, without its tables and limits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JobFacts {
    /// The job's name.
    pub id: JobId,
    /// What people call it.
    pub title: String,
    /// Free words.
    pub notes: String,
    /// What the vehicle is; none where nobody said.
    #[serde(default)]
    pub vehicle: Option<Vehicle>,
    /// Engine facts.
    pub engine: Engine,
    /// What is in the tank.
    pub fuel: Fuel,
    /// What the table's numbers mean.
    pub content: TableContent,
    /// Finest step that the table stores, in its own unit.
    pub resolution: f64,
    /// The bays that may send pulls.
    pub bays: BTreeSet<BayName>,
}

impl JobFacts {
    /// Returns the facts of the job that `spec` opens.
    pub fn of(spec: &JobSpec) -> Self {
        Self {
            id: spec.id.clone(),
            title: spec.title.clone(),
            notes: spec.notes.clone(),
            vehicle: spec.vehicle.clone(),
            engine: spec.engine.clone(),
            fuel: spec.fuel.clone(),
            content: spec.table.content,
            resolution: spec.table.resolution,
            bays: spec.bays.keys().cloned().collect(),
        }
    }
}

/// A job as lists tell it, made from its fold and nothing else.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JobBrief {
    /// What it was opened with.
    pub facts: JobFacts,
    /// When it was opened.
    pub opened_at: UnixMillis,
    /// Who opened it.
    pub opened_by: Actor,
    /// Revision in force.
    pub in_force: RevisionId,
    /// The stage that it is in.
    pub stage: StageId,
    /// What people call that stage.
    pub stage_title: String,
    /// When it was closed; none where something was done since.
    pub closed_at: Option<UnixMillis>,
    /// The bay of its last pull.
    pub last_bay: Option<BayName>,
    /// Finished pulls.
    pub pull_count: usize,
    /// Proposals, whatever became of them.
    pub proposal_count: usize,
    /// When something last happened that changed the job.
    pub active_at: UnixMillis,
    /// When the latest record was made; a clock that tells less is not believed.
    latest_at: UnixMillis,
    /// Who made it.
    latest_by: Actor,
    /// Proposals on the revision in force of their table without a verdict, oldest first, and when their time is over.
    undecided: Vec<(ProposalId, Option<UnixMillis>)>,
}

impl JobBrief {
    /// Returns what lists tell of `job`.
    pub fn of(job: &JobState) -> Self {
        let undecided = job
            .proposals
            .iter()
            .filter(|entry| entry.verdict.is_none() && job.is_base_in_force(entry));
        Self {
            facts: JobFacts::of(&job.spec),
            opened_at: job.opened_at,
            opened_by: job.opened_by.clone(),
            in_force: job.head().id,
            stage: job.stage().id,
            stage_title: job.stage().title.clone(),
            closed_at: job.closed.as_ref().map(|closed| closed.at),
            last_bay: job.pulls.last().map(|pull| pull.record.bay.clone()),
            pull_count: job.pulls.len(),
            proposal_count: job.proposals.len(),
            active_at: active_at(job),
            latest_at: job.updated().0,
            latest_by: job.updated().1.clone(),
            undecided: undecided
                .map(|entry| (entry.proposal.id, entry.proposal.expires_at()))
                .collect(),
        }
    }

    /// Returns the proposals that wait for a verdict at the moment that the clock tells, oldest first: those whose
    /// [`JobState::standing`] is open.
    pub fn waiting(&self, clock: UnixMillis) -> impl Iterator<Item = ProposalId> {
        let now = clock.max(self.latest_at);
        let open = self
            .undecided
            .iter()
            .filter(move |(_, expires_at)| expires_at.is_none_or(|at| at > now));
        open.map(|(id, _)| *id)
    }

    /// Returns when something was last recorded of the job, and by whom.
    pub fn updated(&self) -> (UnixMillis, &Actor) {
        (self.latest_at, &self.latest_by)
    }

    /// Returns where the job stands at the moment that the clock tells.
    pub fn standing(&self, clock: UnixMillis) -> JobStanding {
        if self.closed_at.is_some() {
            JobStanding::Done
        } else if self.waiting(clock).next().is_some() {
            JobStanding::InReview
        } else if self.pull_count == 0 {
            JobStanding::Waiting
        } else {
            JobStanding::InWork
        }
    }
}

/// Returns when something last happened to a job.
pub fn active_at(job: &JobState) -> UnixMillis {
    let pulls = job.pulls.iter().map(|pull| pull.at);
    let proposals = job.proposals.iter().flat_map(moments);
    let revisions = job.revisions.iter().map(|revision| revision.created_at);
    pulls
        .chain(proposals)
        .chain(revisions)
        .fold(job.opened_at, UnixMillis::max)
}

fn moments(entry: &ProposalEntry) -> impl Iterator<Item = UnixMillis> {
    let verdict = entry.verdict.as_ref().map(|verdict| verdict.at);
    [Some(entry.proposal.created_at), verdict]
        .into_iter()
        .flatten()
}
