//! Proposals, stages and the closing of a job, each with what became of it.

use baytrim_model::ids::{Actor, RevisionId, StageId, UnixMillis};
use baytrim_model::proposal::Proposal;
use baytrim_model::pull::PullRecord;
use baytrim_model::record::{CommentPlace, Duty, JobRecord};
use baytrim_model::stage::{Stage, StageKind};
use baytrim_model::vehicle::VehicleRecord;

use super::count;

/// A finished pull with its circumstances.
#[derive(Debug, Clone, PartialEq)]
pub struct PullEntry {
    /// The pull.
    pub record: PullRecord,
    /// When it was finished.
    pub at: UnixMillis,
    /// Who sent it.
    pub by: Actor,
    /// The stage that it belongs to.
    pub stage: StageId,
}

/// A proposal with its verdict.
#[derive(Debug, Clone, PartialEq)]
pub struct ProposalEntry {
    /// The proposal.
    pub proposal: Proposal,
    /// The verdict, where there is one.
    pub verdict: Option<VerdictEntry>,
    /// What was said about it, oldest first; the first has number 1.
    pub comments: Vec<CommentEntry>,
}

impl ProposalEntry {
    /// Returns the number that the next comment gets.
    pub fn next_comment(&self) -> u32 {
        count(self.comments.len()) + 1
    }
}

/// Something that was said about a proposal.
#[derive(Debug, Clone, PartialEq)]
pub struct CommentEntry {
    /// When.
    pub at: UnixMillis,
    /// By whom.
    pub by: Actor,
    /// The node or grip that it is about; none: the whole proposal.
    pub node: Option<CommentPlace>,
    /// What was said.
    pub text: String,
}

/// A verdict on a proposal.
#[derive(Debug, Clone, PartialEq)]
pub struct VerdictEntry {
    /// When it was given.
    pub at: UnixMillis,
    /// Who gave it.
    pub by: Actor,
    /// Why.
    pub reason: String,
    /// The revision that came of it and the nodes that were taken; none where rejected.
    pub approved: Option<(RevisionId, Vec<usize>)>,
    /// Those of the nodes that were taken in part.
    pub reduced: Vec<usize>,
    /// Under which rule about who decides, where it was not the usual one.
    pub duty: Option<Duty>,
}

/// A stage with its circumstances.
#[derive(Debug, Clone, PartialEq)]
pub struct StageEntry {
    /// The stage.
    pub stage: Stage,
    /// When it was begun.
    pub at: UnixMillis,
    /// Who began it.
    pub by: Actor,
}

/// When a job was closed.
#[derive(Debug, Clone, PartialEq)]
pub struct ClosedEntry {
    /// When.
    pub at: UnixMillis,
    /// Who closed it.
    pub by: Actor,
    /// Why, or what was handed over.
    pub reason: String,
}

/// Returns the stage that every job begins in; `opening` is its first record.
pub(super) fn as_it_came(opening: &JobRecord) -> StageEntry {
    let kind = StageKind::AsItCame;
    StageEntry {
        stage: Stage {
            id: StageId(1),
            kind,
            title: kind.usual_title().to_owned(),
            notes: String::new(),
            vehicle: VehicleRecord::default(),
        },
        at: opening.at,
        by: opening.by.clone(),
    }
}
