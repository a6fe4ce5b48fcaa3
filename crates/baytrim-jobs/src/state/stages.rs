//! Taking in records of stages and of the closing of a job.

use baytrim_model::ids::{PullId, StageId};
use baytrim_model::record::{JobEvent, JobRecord};
use baytrim_model::stage::Stage;

use super::{ClosedEntry, FoldError, JobState, Outcome, StageEntry};

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
