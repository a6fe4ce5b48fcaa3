//! Taking in records of stages and of the closing of a job.

use baytrim_model::ids::{PullId, StageId};
use baytrim_model::record::{JobEvent, JobRecord};
use baytrim_model::stage::{Stage, StageKind};

use super::{ClosedEntry, FoldError, JobState, Outcome, PullEntry, StageEntry};

/// Returns whether an event is work on the vehicle or its table, which takes a closed job up again.
pub(super) fn is_work(event: &JobEvent) -> bool {
    !matches!(
        event,
        JobEvent::JobClosed { .. }
            | JobEvent::CommentMade { .. }
            | JobEvent::TableExported { .. }
            | JobEvent::PullAssigned { .. }
    )
}

impl JobState {
    /// Returns the stage since which the engine breathes as it does now: the last in which parts were fitted, else the
    /// first.
    pub fn parts_since(&self) -> StageId {
        let fitted = self.stages.iter().rev().map(|entry| &entry.stage);
        let fitted = fitted.filter(|stage| stage.kind == StageKind::PartsFitted);
        fitted.map(|stage| stage.id).next().unwrap_or(StageId(1))
    }

    /// Returns whether a pull was run with the parts that are fitted now: no other tells what this engine needs.
    pub fn has_present_parts(&self, pull: &PullEntry) -> bool {
        pull.stage >= self.parts_since()
    }

    /// Returns the pulls that were run with the parts that are fitted now, oldest first.
    pub fn present_pulls(&self) -> impl Iterator<Item = &PullEntry> {
        let pulls = self.pulls.iter();
        pulls.filter(|pull| self.has_present_parts(pull))
    }

    pub(super) fn begin_stage(
        &mut self,
        stage: &Stage,
        record: &JobRecord,
    ) -> Result<Outcome, FoldError> {
        let next = stage.id == self.next_stage();
        self.check_order(next, || format!("stage {}", stage.id))?;
        self.stages.push(StageEntry {
            stage: stage.clone(),
            at: record.at,
            by: record.by.clone(),
        });
        Ok(Outcome::StageBegun(stage.id))
    }

    pub(super) fn assign(&mut self, pull: PullId, stage: StageId) -> Result<Outcome, FoldError> {
        self.check_stage(stage)?;
        self.check_order(self.pull(pull).is_ok(), || format!("pull {pull}"))?;
        self.pulls[pull.0 as usize - 1].stage = stage;
        Ok(Outcome::Assigned(pull))
    }

    pub(super) fn close(&mut self, reason: &str, record: &JobRecord) -> Outcome {
        self.closed = Some(ClosedEntry {
            at: record.at,
            by: record.by.clone(),
            reason: reason.to_owned(),
        });
        Outcome::Closed
    }

    pub(super) fn check_stage(&self, id: StageId) -> Result<(), FoldError> {
        self.check_order(self.stage_of(id).is_ok(), || format!("stage {id}"))
    }
}
