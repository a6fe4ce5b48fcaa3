//! Finding what a job has by its number.

use baytrim_model::ids::{Actor, JobId, ProposalId, PullId, RevisionId, StageId, UnixMillis};
use baytrim_model::revision::{Revision, TableKind};
use baytrim_model::stage::Stage;

use super::{JobState, ProposalEntry, PullEntry, StageEntry, count};
use crate::refusal::Refusal;

impl JobState {
    /// Returns the job's name.
    pub fn id(&self) -> &JobId {
        &self.spec.id
    }

    /// Returns when something was last recorded of the job, and by whom.
    pub fn updated(&self) -> (UnixMillis, &Actor) {
        (self.latest_at, &self.latest_by)
    }

    /// Returns the number of records that told the job.
    pub fn record_count(&self) -> u64 {
        self.record_count
    }

    /// Returns the revision of the fuel table in force.
    ///
    /// # Panics
    /// Never: `r0` is made with the job.
    pub fn head(&self) -> &Revision {
        self.head_of(&TableKind::Fuel)
            .expect("r0 is made with the job")
    }

    /// Returns the stage that the vehicle is in.
    ///
    /// # Panics
    /// Never: `s1` is made with the job.
    pub fn stage(&self) -> &Stage {
        let entry = self.stages.last();
        &entry.expect("s1 is made with the job").stage
    }

    /// Returns the number that the next stage gets.
    pub fn next_stage(&self) -> StageId {
        StageId(count(self.stages.len()) + 1)
    }

    /// Returns a stage.
    ///
    /// # Errors
    /// When the job has no such stage.
    pub fn stage_of(&self, id: StageId) -> Result<&StageEntry, Refusal> {
        let index = (id.0 as usize).checked_sub(1);
        index
            .and_then(|index| self.stages.get(index))
            .ok_or_else(|| Refusal::StageUnknown {
                job: self.id().clone(),
                stage: id,
                latest: self.stage().id,
            })
    }

    /// Returns the number that the next pull gets.
    pub fn next_pull(&self) -> PullId {
        PullId(count(self.pulls.len()) + 1)
    }

    /// Returns the number that the next proposal gets.
    pub fn next_proposal(&self) -> ProposalId {
        ProposalId(count(self.proposals.len()) + 1)
    }

    /// Returns the number that the next revision gets.
    pub fn next_revision(&self) -> RevisionId {
        RevisionId(count(self.revisions.len()))
    }

    /// Returns a pull.
    ///
    /// # Errors
    /// When the job has no such pull.
    pub fn pull(&self, id: PullId) -> Result<&PullEntry, Refusal> {
        let index = (id.0 as usize).checked_sub(1);
        index
            .and_then(|index| self.pulls.get(index))
            .ok_or_else(|| Refusal::PullUnknown {
                job: self.id().clone(),
                pull: id,
            })
    }

    /// Returns a proposal.
    ///
    /// # Errors
    /// When the job has no such proposal.
    pub fn proposal(&self, id: ProposalId) -> Result<&ProposalEntry, Refusal> {
        let index = (id.0 as usize).checked_sub(1);
        index
            .and_then(|index| self.proposals.get(index))
            .ok_or_else(|| Refusal::ProposalUnknown {
                job: self.id().clone(),
                proposal: id,
            })
    }

    /// Returns a revision.
    ///
    /// # Errors
    /// When the job has no such revision.
    pub fn revision(&self, id: RevisionId) -> Result<&Revision, Refusal> {
        self.revisions
            .get(id.0 as usize)
            .ok_or_else(|| Refusal::RevisionUnknown {
                job: self.id().clone(),
                revision: id,
                latest: RevisionId(count(self.revisions.len() - 1)),
            })
    }
}
