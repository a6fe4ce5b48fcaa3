//! What the ledger of a job is told.

use serde::{Deserialize, Serialize};

use crate::ids::{Actor, ProposalId, RequestId, RevisionId, UnixMillis};
use crate::job::JobSpec;
use crate::proposal::Proposal;
use crate::pull::PullRecord;
use crate::revision::Revision;

/// Version of the record's form; a reader refuses a larger one.
pub const RECORD_VERSION: u16 = 1;

/// One thing that happened to a job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum JobEvent {
    /// The job was opened; revision `r0` is its base table.
    JobOpened {
        /// What it was opened with.
        spec: Box<JobSpec>,
    },
    /// A pull was finished.
    PullFinished {
        /// The pull.
        pull: Box<PullRecord>,
    },
    /// A proposal was made.
    ProposalMade {
        /// The proposal.
        proposal: Box<Proposal>,
    },
    /// A proposal was approved, whole or in part, and became a revision.
    ProposalApproved {
        /// The proposal.
        proposal: ProposalId,
        /// The nodes that were taken, in node order; all others keep their value.
        nodes: Vec<usize>,
        /// The revision that came of it.
        revision: Box<Revision>,
    },
    /// A proposal was rejected.
    ProposalRejected {
        /// The proposal.
        proposal: ProposalId,
        /// Why.
        reason: String,
    },
    /// An earlier revision was put back.
    TableReverted {
        /// The revision that came of it.
        revision: Box<Revision>,
    },
    /// A revision left the house.
    TableExported {
        /// The revision.
        revision: RevisionId,
        /// The form that it left in, for example `csv percent`.
        form: String,
        /// SHA-256 of what left, in hexadecimal.
        content_sha256: String,
    },
}

/// One record of a job: what happened, when, by whom.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JobRecord {
    /// Version of the record's form.
    pub version: u16,
    /// When, by the daemon's clock.
    pub at: UnixMillis,
    /// By whom.
    pub by: Actor,
    /// The client's own name for the request, where it gave one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub request_id: Option<RequestId>,
    /// What happened.
    #[serde(flatten)]
    pub event: JobEvent,
}
