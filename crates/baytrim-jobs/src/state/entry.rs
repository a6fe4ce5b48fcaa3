//! Proposals with what became of them.

use baytrim_model::ids::{Actor, RevisionId, UnixMillis};
use baytrim_model::proposal::Proposal;
use baytrim_model::record::{Duty, NodePlace};

use super::count;

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
    /// The node that it is about; none: the whole proposal.
    pub node: Option<NodePlace>,
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
