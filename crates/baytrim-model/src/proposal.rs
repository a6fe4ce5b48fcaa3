//! A set of per-node changes, with the reason for each.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::grip::GripChange;
use crate::ids::{Actor, BayName, ProposalId, PullId, RevisionId, UnixMillis};
use crate::library::StartingTable;
use crate::limits::LimitName;
use crate::revision::TableKind;

/// What a proposal does with a node.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NodeStatus {
    /// A change is proposed that brings the estimate to target.
    Change,
    /// A limit holds the node short of target, at worst where it is.
    Limited,
    /// On target within the tolerance: nothing to do.
    OnTarget,
    /// Off target by the estimate, but not proven enough for a change.
    Unproven,
    /// Never visited: left as it is.
    Unvisited,
}

impl NodeStatus {
    /// Every status.
    pub const ALL: [Self; 5] = [
        Self::Change,
        Self::Limited,
        Self::OnTarget,
        Self::Unproven,
        Self::Unvisited,
    ];

    /// Returns the name as files, wire and command line write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Change => "change",
            Self::Limited => "limited",
            Self::OnTarget => "on_target",
            Self::Unproven => "unproven",
            Self::Unvisited => "unvisited",
        }
    }
}

impl fmt::Display for NodeStatus {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// What is proposed for one node, and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NodeChange {
    /// Engine speed of the node.
    pub rpm: f64,
    /// Plate opening of the node in percent.
    pub plate_percent: f64,
    /// Table value before, in the table's unit.
    pub before: f64,
    /// Table value after, in the table's unit; on the table's resolution where it changes.
    pub after: f64,
    /// Estimate: fuel change from `before` that brings lambda to target, percent.
    pub correction_percent: f64,
    /// Standard error of the estimate, percent of fuel: what more data would shrink.
    pub standard_error_percent: f64,
    /// Standard error with the sensor's own uncertainty, percent of fuel: what no data shrinks below the sensor's floor.
    pub total_standard_error_percent: f64,
    /// Fuel change from `before` to `after`, percent.
    pub proposed_percent: f64,
    /// Seconds of accepted footprint weight on the node, over all pulls.
    pub dwell_s: f64,
    /// Separate visits of the node, over all pulls.
    pub visits: u32,
    /// How much of the estimate is measured here, 0 (all borrowed from neighbours) to 1.
    pub measured_fraction: f64,
    /// Lambda expected with `before`.
    pub lambda_before: f64,
    /// Lambda wanted.
    pub target_lambda: f64,
    /// Lambda expected with `after`.
    pub predicted_lambda: f64,
    /// Lower and upper end of the 95 % interval of `predicted_lambda`, sensor included.
    pub predicted_lambda_interval: [f64; 2],
    /// Chance that the true lambda ends leaner than permitted at this node, 0 to 1.
    pub lean_risk: f64,
    /// What held the change back, in the order of [`LimitName::ALL`].
    pub limited_by: Vec<LimitName>,
    /// What is done with the node.
    pub status: NodeStatus,
}

/// What the fit as a whole turned out to be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FitSummary {
    /// Name and version of the estimator, so that the numbers can be computed again.
    pub estimator: String,
    /// Readings that the fit used.
    pub reading_count: u64,
    /// Standard deviation of fast noise in one reading, percent.
    pub noise_percent: f64,
    /// Standard deviation between separate visits of one place, percent.
    pub episode_percent: f64,
    /// Standard deviation between pulls, percent.
    pub pull_percent: f64,
    /// Standard deviation of a sensor's own bias, percent: common to all nodes, never averaged away.
    pub sensor_percent: f64,
    /// Factor by which the standard errors were widened after a look at held-out episodes, at least 1.
    pub calibration_factor: f64,
    /// Root mean square of the estimated correction over visited nodes, dwell-weighted, percent.
    pub off_target_percent: f64,
    /// Sentences for the reviewer about the fit as a whole.
    pub remarks: Vec<String>,
}

/// An immutable set of per-node changes against one table revision.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Proposal {
    /// Its number in the job.
    pub id: ProposalId,
    /// Which table it would change.
    #[serde(default, skip_serializing_if = "TableKind::is_fuel")]
    pub table: TableKind,
    /// The revision that it was computed from.
    pub base_revision: RevisionId,
    /// The pulls that it was computed from.
    pub pulls: Vec<PullId>,
    /// When it was made.
    pub created_at: UnixMillis,
    /// Who asked for it.
    pub created_by: Actor,
    /// Seconds after `created_at` for which it can be approved, by the rule of the day; none: for ever.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_s: Option<u64>,
    /// The fit as a whole; of a grip table its program, its stays and its remarks only.
    pub fit: FitSummary,
    /// Chance that the job is done where its pulls have been; none in proposals from before it was computed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub done: Option<DoneChance>,
    /// One entry per node, in node order; none of a grip table.
    pub nodes: Vec<NodeChange>,
    /// What makes it a starting table: learnt from other vehicles, from no pull of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start: Option<Box<StartingTable>>,
    /// What is proposed for a table from grip to plate; none of the fuel table.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grip: Option<GripChange>,
    /// How each bay reads against the others at the same places; empty where all pulls came from one bay, or they
    /// hardly meet, and in records of a time when nobody noted it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bays: Vec<BayDifference>,
}

/// How one bay reads against the others at the same places of a job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BayDifference {
    /// The bay.
    pub bay: BayName,
    /// How much leaner it reads, percent of lambda.
    pub leaner_percent: f64,
    /// Its standard error, percent.
    pub standard_error_percent: f64,
}

impl Proposal {
    /// Returns the number of nodes, or of grip breakpoints of a grip table, that it changes.
    #[expect(clippy::float_cmp, reason = "unchanged means the very same number")]
    pub fn change_count(&self) -> usize {
        let nodes = self.nodes.iter().filter(|node| node.after != node.before);
        let rows = self.grip.iter().flat_map(|grip| &grip.rows);
        nodes.count() + rows.filter(|row| row.is_change()).count()
    }

    /// Returns the moment from which it can't be approved any more; none: it always can.
    pub fn expires_at(&self) -> Option<UnixMillis> {
        let valid_ms = i64::try_from(self.valid_s?).ok()?.checked_mul(1000)?;
        self.created_at.0.checked_add(valid_ms).map(UnixMillis)
    }
}

/// Chance that a job is done: that every node of a region is within tolerance. The sensor's own bias, which no
/// pull can tell, is left out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DoneChance {
    /// The tolerance in percent of lambda.
    pub tolerance_percent: f64,
    /// Nodes of the region.
    pub node_count: u32,
    /// Probability that every one of them is within tolerance with the table in force, 0 to 1.
    pub probability: f64,
    /// Expected share of them that are, 0 to 1.
    pub share: f64,
    /// The probability with what is proposed.
    pub proposed_probability: Option<f64>,
    /// The share with what is proposed.
    pub proposed_share: Option<f64>,
}
