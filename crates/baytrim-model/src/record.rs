//! What the ledger is told of jobs and bays.

use serde::{Deserialize, Serialize};

use crate::bay::DelayBelief;
use crate::channel::ChannelMap;
use crate::ids::{
    Actor, ChannelMapId, JobId, ProposalId, PullId, RequestId, RevisionId, StageId, UnixMillis,
};
use crate::job::JobSpec;
use crate::proposal::Proposal;
use crate::pull::PullRecord;
use crate::revision::Revision;
use crate::stage::Stage;

/// Version of the record's form; a reader refuses a larger one.
pub const RECORD_VERSION: u16 = 1;

/// One thing that happened to a job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
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
        /// Those of them that were taken in part: the revision has less of the change than was proposed.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        reduced: Vec<usize>,
        /// Under which rule about who decides, where it was not the usual one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        duty: Option<Duty>,
        /// The revision that came of it.
        revision: Box<Revision>,
    },
    /// A proposal was rejected.
    ProposalRejected {
        /// The proposal.
        proposal: ProposalId,
        /// Why.
        reason: String,
        /// Under which rule about who decides, where it was not the usual one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        duty: Option<Duty>,
    },
    /// Somebody said something about a proposal.
    CommentMade {
        /// The proposal.
        proposal: ProposalId,
        /// Number of the comment on its proposal, from 1.
        number: u32,
        /// The node or grip that it is about; none: the whole proposal.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        node: Option<CommentPlace>,
        /// What was said.
        text: String,
    },
    /// An earlier revision was put back.
    TableReverted {
        /// The revision that came of it.
        revision: Box<Revision>,
    },
    /// The vehicle is in another state from here on: later pulls belong to it.
    StageBegun {
        /// The stage.
        stage: Stage,
    },
    /// A pull was found to belong to another stage than it was recorded under.
    PullAssigned {
        /// The pull.
        pull: PullId,
        /// The stage that it belongs to.
        stage: StageId,
        /// Why.
        reason: String,
    },
    /// The work is finished; whatever is recorded of it later takes it up again.
    JobClosed {
        /// Why, or what was handed over.
        reason: String,
    },
    /// The work goes on after it was closed.
    JobReopened {
        /// Why.
        reason: String,
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

/// What of a proposal a comment is about.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(untagged, deny_unknown_fields)]
pub enum CommentPlace {
    /// A node of the fuel table.
    Node(NodePlace),
    /// A grip of a grip table, at all its engine speeds.
    Grip {
        /// The breakpoint, percent of grip.
        grip_percent: f64,
    },
}

/// A node of a table by its breakpoints.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NodePlace {
    /// Engine speed of the node.
    pub rpm: f64,
    /// Plate opening of the node in percent.
    pub plate_percent: f64,
}

/// Rule about who decides, where it is not the usual one that nobody approves what they asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Duty {
    /// One person does everything in the shop: the verdict is no second pair of eyes.
    OnePerson,
}

/// One thing that happened to a bay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum BayEvent {
    /// The bay got a channel map, which is in force until the next.
    ChannelMapSet {
        /// Its number within the bay.
        id: ChannelMapId,
        /// The map.
        map: Box<ChannelMap>,
        /// The map as its writer wrote it, with all remarks: TOML.
        text: String,
        /// Why it was set; empty where nobody said.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        reason: String,
    },
    /// A pull told the bay's delay.
    DelayLearnt {
        /// The job of the pull.
        job: JobId,
        /// The pull.
        pull: PullId,
        /// Displacement of the job's engine in cubic centimetres: exhaust systems go with it.
        displacement_cc: f64,
        /// The delay that is known now.
        delay: DelayBelief,
    },
    /// A proposal compared the bay with the other bays of its job.
    ReadingCompared {
        /// The job.
        job: JobId,
        /// The proposal.
        proposal: ProposalId,
        /// How much leaner the bay reads than the others at the same places, percent of lambda.
        leaner_percent: f64,
        /// Its standard error, percent.
        standard_error_percent: f64,
    },
    /// The bay's lambda sensor was read in free air.
    SensorChecked {
        /// Oxygen that it showed, percent by volume.
        oxygen_percent: f64,
        /// What was done about it, or seen; empty where nobody said.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        notes: String,
    },
}

/// A record of a job.
pub type JobRecord = StreamRecord<JobEvent>;

/// A record of a bay.
pub type BayRecord = StreamRecord<BayEvent>;

/// One record of a stream: what happened, when, by whom.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StreamRecord<E> {
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
    pub event: E,
}
