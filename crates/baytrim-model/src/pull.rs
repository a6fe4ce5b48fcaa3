//! What one pull turned out to be.

use serde::{Deserialize, Serialize};

use crate::bay::DelayModel;
use crate::channel::ChannelMap;
use crate::gate::GateName;
use crate::ids::{BayName, PullId, RevisionId};

/// What one gate refused of a pull.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GateCount {
    /// The gate.
    pub gate: GateName,
    /// Samples charged to it: each refused sample counts once, with the first gate that refused it.
    pub sample_count: u64,
    /// Seconds of log charged to it.
    pub refused_s: f64,
}

/// How the delay of a pull was come by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DelaySource {
    /// The job gives it.
    Given,
    /// The pull tells.
    Identified,
    /// The pull cannot tell: the physical prior stands.
    Prior,
}

/// The delay that a pull was read with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DelayFound {
    /// The delay in use.
    pub model: DelayModel,
    /// How it was come by.
    pub source: DelaySource,
    /// Standard errors of the model's three numbers, each in its unit; 0 where given.
    pub standard_error: DelayModel,
    /// A sentence for the tuner: what told the delay, or why nothing could.
    pub remark: String,
}

/// A warning about a pull as a whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PullWarning {
    /// Short name, for scripts: lower case with underscores.
    pub code: String,
    /// What is odd and what to do about it.
    pub message: String,
}

/// What one pull says about one node.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct NodeCoverage {
    /// Seconds of accepted footprint weight on the node.
    pub dwell_s: f64,
    /// Separate visits with weight on the node.
    pub visits: u32,
}

/// What one pull turned out to be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PullSummary {
    /// Samples in the log.
    pub sample_count: u64,
    /// Seconds between the first and the last sample.
    pub duration_s: f64,
    /// Seconds of samples that were accepted.
    pub accepted_s: f64,
    /// What each gate refused; gates that refused nothing are left out.
    pub refused: Vec<GateCount>,
    /// Accepted and refused over time, for a strip of 60 equal spans of the pull:
    /// the gate that refused most of the span, none where most was accepted.
    pub strip: Vec<Option<GateName>>,
    /// The delay that it was read with.
    pub delay: DelayFound,
    /// Coverage of each node, in node order.
    pub coverage: Vec<NodeCoverage>,
    /// Warnings about the pull as a whole.
    pub warnings: Vec<PullWarning>,
}

/// A finished pull, as the ledger has it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PullRecord {
    /// Its number in the job.
    pub id: PullId,
    /// The bay that it came from.
    pub bay: BayName,
    /// The table revision that was loaded in the vehicle.
    pub revision: RevisionId,
    /// The log's name as its sender knows it; empty for a live stream.
    pub source_name: String,
    /// The channel map that the log was read with, so that it can be read again.
    pub channels: ChannelMap,
    /// SHA-256 of the raw log in hexadecimal: the name of its blob.
    pub log_blob: String,
    /// SHA-256 of the evidence in hexadecimal: the name of its blob.
    pub evidence_blob: String,
    /// What the pull turned out to be.
    pub summary: PullSummary,
}
