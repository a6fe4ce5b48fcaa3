//! The names and kinds of refusals.

use super::Refusal;

/// What kind of refusal it is, so that a caller need not know them all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RefusalKind {
    /// The request itself is wrong.
    Invalid,
    /// It speaks of something that there isn't.
    NotFound,
    /// It would make something that there is.
    Exists,
    /// The state of the job does not allow it.
    State,
    /// It was made against a state that is no more.
    Conflict,
    /// It is not for who asks.
    Forbidden,
}

impl Refusal {
    /// Returns the stable name of the refusal, for `google.rpc.ErrorInfo`.
    pub fn reason(&self) -> &'static str {
        match self {
            Self::Fields(_) => "FIELD_INVALID",
            Self::JobExists(_) => "JOB_EXISTS",
            Self::JobUnknown(_) => "JOB_UNKNOWN",
            Self::BayUnknown { .. } => "BAY_UNKNOWN",
            Self::ChannelMapNone(_) => "CHANNEL_MAP_NONE",
            Self::ChannelMapUnknown { .. } => "CHANNEL_MAP_UNKNOWN",
            Self::ChannelMapInForce { .. } => "CHANNEL_MAP_ALREADY_IN_FORCE",
            Self::LogKnown { .. } => "LOG_KNOWN",
            Self::PullUnknown { .. } => "PULL_UNKNOWN",
            Self::ProposalUnknown { .. } => "PROPOSAL_UNKNOWN",
            Self::RevisionUnknown { .. } => "REVISION_UNKNOWN",
            Self::StageUnknown { .. } => "STAGE_UNKNOWN",
            Self::StageEmpty { .. } => "STAGE_EMPTY",
            Self::AlreadyStands { .. } => "ALREADY_STANDS",
            Self::NoPulls { .. } => "NO_PULLS",
            Self::NoEvidence(_) => "NO_EVIDENCE",
            Self::GripTableNone { .. } => "GRIP_TABLE_NONE",
            Self::NoStays { .. } => "NO_STAYS",
            Self::SubsetBreaksGrip { .. } => "SUBSET_BREAKS_GRIP_TABLE",
            Self::Stale { .. } => "PROPOSAL_STALE",
            Self::Decided { .. } => "PROPOSAL_DECIDED",
            Self::Expired { .. } => "PROPOSAL_EXPIRED",
            Self::SameHand { .. } => "SAME_HAND",
            Self::HandUnknown { .. } => "HAND_UNKNOWN",
            Self::EtagMismatch { .. } => "ETAG_MISMATCH",
            Self::NothingToApprove { .. } => "NOTHING_TO_APPROVE",
            Self::SubsetBreaksNeighbour { .. } => "SUBSET_BREAKS_NEIGHBOUR_LIMIT",
            Self::CommentsFull { .. } => "COMMENTS_FULL",
            Self::AlreadyInForce { .. } => "REVISION_ALREADY_IN_FORCE",
            Self::RequestIdReused(_) => "REQUEST_ID_REUSED",
            Self::Library(refusal) => refusal.reason(),
        }
    }

    /// Returns what kind of refusal it is.
    pub fn kind(&self) -> RefusalKind {
        match self {
            Self::Fields(_) => RefusalKind::Invalid,
            Self::JobUnknown(_)
            | Self::BayUnknown { .. }
            | Self::ChannelMapNone(_)
            | Self::ChannelMapUnknown { .. }
            | Self::PullUnknown { .. }
            | Self::ProposalUnknown { .. }
            | Self::GripTableNone { .. }
            | Self::RevisionUnknown { .. }
            | Self::StageUnknown { .. } => RefusalKind::NotFound,
            Self::JobExists(_) | Self::LogKnown { .. } | Self::RequestIdReused(_) => {
                RefusalKind::Exists
            }
            Self::NoPulls { .. }
            | Self::StageEmpty { .. }
            | Self::AlreadyStands { .. }
            | Self::NoEvidence(_)
            | Self::Stale { .. }
            | Self::NoStays { .. }
            | Self::SubsetBreaksGrip { .. }
            | Self::Decided { .. }
            | Self::Expired { .. }
            | Self::NothingToApprove { .. }
            | Self::SubsetBreaksNeighbour { .. }
            | Self::CommentsFull { .. }
            | Self::AlreadyInForce { .. }
            | Self::ChannelMapInForce { .. } => RefusalKind::State,
            Self::Library(refusal) => refusal.kind(),
            Self::EtagMismatch { .. } => RefusalKind::Conflict,
            Self::SameHand { .. } | Self::HandUnknown { .. } => RefusalKind::Forbidden,
        }
    }
}
