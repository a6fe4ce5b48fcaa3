//! What the records of one stream tell, taken together.

use baytrim_model::ids::RequestId;
use baytrim_model::record::{JobEvent, JobRecord, StreamRecord};

use crate::state::{FoldError, JobState, Outcome};

/// The state that the records of one stream tell, from the first to the last.
pub trait Fold: Clone {
    /// What can happen.
    type Event;
    /// What a request with an id came to.
    type Outcome: Copy;

    /// Returns the state that the first record tells.
    ///
    /// # Errors
    /// When it cannot be the first.
    fn begin(record: &StreamRecord<Self::Event>) -> Result<Self, FoldError>;

    /// Takes the next record in.
    ///
    /// # Errors
    /// When it does not follow those before it; the state is then as before.
    fn take(&mut self, record: &StreamRecord<Self::Event>) -> Result<(), FoldError>;

    /// Returns what a request id came to before, where it was used.
    fn outcome_before(&self, request_id: &RequestId) -> Option<Self::Outcome>;

    /// Returns what a request that records `event` comes to.
    fn outcome_of(event: &Self::Event) -> Self::Outcome;
}

impl Fold for JobState {
    type Event = JobEvent;
    type Outcome = Outcome;

    fn begin(record: &JobRecord) -> Result<Self, FoldError> {
        Self::opened(record)
    }

    fn take(&mut self, record: &JobRecord) -> Result<(), FoldError> {
        self.apply(record)
    }

    fn outcome_before(&self, request_id: &RequestId) -> Option<Outcome> {
        self.outcome(Some(request_id))
    }

    fn outcome_of(event: &JobEvent) -> Outcome {
        match event {
            JobEvent::JobOpened { .. } => Outcome::Opened,
            JobEvent::PullFinished { pull } => Outcome::Pull(pull.id),
            JobEvent::ProposalMade { proposal } => Outcome::Proposal(proposal.id),
            JobEvent::ProposalApproved { proposal, .. } => Outcome::Approved(*proposal),
            JobEvent::ProposalRejected { proposal, .. } => Outcome::Rejected(*proposal),
            JobEvent::CommentMade {
                proposal, number, ..
            } => Outcome::Commented(*proposal, *number),
            JobEvent::TableReverted { revision } => Outcome::Reverted(revision.id),
            JobEvent::TableExported { revision, .. } => Outcome::Exported(*revision),
            JobEvent::StageBegun { stage } => Outcome::StageBegun(stage.id),
            JobEvent::PullAssigned { pull, .. } => Outcome::Assigned(*pull),
            JobEvent::JobClosed { .. } => Outcome::Closed,
            JobEvent::JobReopened { .. } => Outcome::Reopened,
        }
    }
}
