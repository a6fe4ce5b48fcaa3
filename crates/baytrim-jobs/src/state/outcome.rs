//! What requests come to, where proposals stand, and why records do not follow each other.

use baytrim_model::ids::{ProposalId, PullId, RevisionId, StageId};

/// Where a proposal stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProposalStanding {
    /// It waits for a verdict.
    Open,
    /// It was approved, whole or in part.
    Approved,
    /// It was rejected.
    Rejected,
    /// The table has moved on since.
    Stale,
    /// Its time is over.
    Expired,
}

/// What a request with an id came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// The job was opened.
    Opened,
    /// A pull was finished.
    Pull(PullId),
    /// A proposal was made.
    Proposal(ProposalId),
    /// A proposal was approved.
    Approved(ProposalId),
    /// A proposal was rejected.
    Rejected(ProposalId),
    /// A comment with this number was made on a proposal.
    Commented(ProposalId, u32),
    /// A revision was put back as this one.
    Reverted(RevisionId),
    /// A table was exported.
    Exported(RevisionId),
    /// A stage was begun.
    StageBegun(StageId),
    /// A pull was put under another stage.
    Assigned(PullId),
    /// The job was closed.
    Closed,
    /// The job was taken up again.
    Reopened,
}

/// Why a record can't follow those before it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FoldError {
    /// The first record does not open the job.
    #[error("record 0 does not open the job")]
    NotOpened,
    /// A later record opens the job again.
    #[error("record {0} opens the job a second time")]
    OpenedTwice(u64),
    /// A record's number is not the next one, or speaks of something that there isn't.
    #[error("record {record} speaks of {what}, which does not fit what came before")]
    OutOfOrder {
        /// Place of the record.
        record: u64,
        /// What it speaks of.
        what: String,
    },
}
