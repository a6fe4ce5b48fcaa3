//! What one pull turned out to be.

use serde::{Deserialize, Serialize};

use crate::bay::{DelayBelief, DelayModel};
use crate::channel::{ChannelMap, Quantity};
use crate::gate::GateName;
use crate::grip::PullGrip;
use crate::ids::{BayName, ChannelMapId, ModeName, PullId, RevisionId, StageId};
use crate::power::{Conditions, PullAir, PullPower};
use crate::recording::Recording;
use crate::vehicle::PullBehaviour;

/// What one gate refused of a pull.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
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
    /// The pull cannot tell alone: what earlier pulls in the bay told stands.
    Bay,
}

/// The delay that a pull was read with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DelayFound {
    /// The delay in use.
    pub model: DelayModel,
    /// How it was come by.
    pub source: DelaySource,
    /// Standard errors of the model's three numbers, each in its unit; 0 where given.
    pub standard_error: DelayModel,
    /// A sentence for the tuner: what told the delay, or why nothing could.
    pub remark: String,
    /// Delay and lag together at the pull's typical operating point; none where the pull was not searched, and in
    /// records of a time when nobody noted it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub typical: Option<TypicalDelay>,
}

/// Delay and lag together at a pull's typical operating point.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TypicalDelay {
    /// Transport delay plus lag, seconds.
    pub delay_s: f64,
    /// Its standard error, seconds.
    pub standard_error_s: f64,
}

/// A warning about a pull as a whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PullWarning {
    /// Short name, for scripts: lower case with underscores.
    pub code: String,
    /// What is odd and what to do about it.
    pub message: String,
}

/// What one pull says about one node.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NodeCoverage {
    /// Seconds of accepted footprint weight on the node.
    pub dwell_s: f64,
    /// Separate visits with weight on the node.
    pub visits: u32,
}

/// What one pull turned out to be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
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
    /// How far readings with the throttle opening and closing disagree, by band of speed; bands without either
    /// are left out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub film: Vec<FilmBand>,
    /// How far several lambda sensors of the engine are apart, by band of speed; empty for a log of one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sensors: Vec<SensorBand>,
    /// What the pull shows of its revision against what earlier pulls predicted; none where there is nothing
    /// to compare.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub realised: Option<Realised>,
    /// What the roller says of power; none for a log without a roller, and in records of a time when nobody looked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub power: Option<PullPower>,
    /// The air that it was measured in; none where nobody told anything of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub air: Option<PullAir>,
    /// How it behaved on the overrun and with secondary air; none where neither record nor log says anything, and in
    /// records of a time when nobody looked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub behaviour: Option<PullBehaviour>,
    /// How the plate followed the hand; none where the log lacks grip, plate or engine speed, or the hand never
    /// stood still.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grip: Option<PullGrip>,
}

/// How far readings with the throttle opening and closing disagree within a band of speeds: what the model of the
/// wall film leaves over.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FilmBand {
    /// Lowest speed of the band.
    pub from_rpm: f64,
    /// Highest speed.
    pub to_rpm: f64,
    /// How much leaner an opening throttle reads than a closing one, percent.
    pub difference_percent: f64,
    /// Its standard error, percent.
    pub standard_error_percent: f64,
    /// Seconds of an opening throttle.
    pub tip_in_s: f64,
    /// Seconds of a closing one.
    pub tip_out_s: f64,
}

/// What a pull shows of the revision that it was read with, against what earlier pulls predicted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Realised {
    /// The pulls that predicted.
    pub pulls: Vec<PullId>,
    /// The revision that was in force before; predicted changes count from it.
    pub previous: RevisionId,
    /// The known revisions with the probability of each that it was loaded, likeliest first.
    pub loaded: Vec<LoadedChance>,
    /// Share of the change from `previous` that lambda shows, with its standard error: 1 as predicted, 0 not
    /// moved. None where the two tables hardly differ where the pull has been.
    pub share: Option<RealisedShare>,
    /// Nodes that this pull and earlier ones visited, in node order.
    pub nodes: Vec<RealisedNode>,
}

/// How far the lambda sensors of an engine are apart within a band of speeds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorBand {
    /// Lowest speed of the band.
    pub from_rpm: f64,
    /// Highest speed.
    pub to_rpm: f64,
    /// Seconds in which all sensors read.
    pub read_s: f64,
    /// How much leaner each sensor reads than the mean of them all, in the order of their quantities.
    pub leaner: Vec<SensorReading>,
}

/// What one lambda sensor reads against the mean of all.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorReading {
    /// The sensor, one of [`Quantity::LAMBDAS`].
    pub sensor: Quantity,
    /// How much leaner it reads, median, percent; negative where richer.
    pub percent: f64,
}

/// A revision with the probability that it was loaded.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoadedChance {
    /// The revision.
    pub revision: RevisionId,
    /// Probability that it was loaded, 0 to 1.
    pub probability: f64,
}

/// Share of a change that lambda shows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RealisedShare {
    /// The share: 1 as predicted, 0 not moved.
    pub share: f64,
    /// Its standard error.
    pub standard_error: f64,
}

/// Realised against predicted lambda at one node.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RealisedNode {
    /// The node, in node order.
    pub node: usize,
    /// Lambda that earlier pulls predict with the previous revision.
    pub previous_lambda: f64,
    /// Lambda that earlier pulls predict with the revision that the pull was read with.
    pub predicted_lambda: f64,
    /// Lambda that this pull alone shows.
    pub realised_lambda: f64,
    /// Standard error of realised less predicted, percent of lambda.
    pub error_percent: f64,
}

/// Where the channel map of a pull came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ChannelMapSource {
    /// It was sent with the log.
    Sent,
    /// The job file gives it for the bay.
    Job,
    /// It was the bay's own, in force at that time.
    Bay(ChannelMapId),
    /// Nobody gave one: the standard column names.
    Standard,
}

/// A finished pull, as the ledger has it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PullRecord {
    /// Its number in the job.
    pub id: PullId,
    /// The bay that it came from.
    pub bay: BayName,
    /// The table revision that was loaded in the vehicle.
    pub revision: RevisionId,
    /// The stage that it was recorded under; none in records of a time when jobs had none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<StageId>,
    /// The riding mode; none where nobody named one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mode: Option<ModeName>,
    /// The revision of that mode's grip table that was loaded; none where the job has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grip_revision: Option<RevisionId>,
    /// The log's name as its sender knows it; empty for a live stream.
    pub source_name: String,
    /// The channel map that the log was read with, so that it can be read again.
    pub channels: ChannelMap,
    /// Where the channel map came from; none in records of a time when nobody noted it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channels_from: Option<ChannelMapSource>,
    /// What earlier pulls in the bay told of the delay when the log was read, so that it can be read again; none
    /// where they told nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub delay_expected: Option<DelayBelief>,
    /// The bay's air as it was given with the log; none where nobody gave any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub conditions: Option<Conditions>,
    /// SHA-256 of the raw log in hexadecimal: the name of its blob.
    pub log_blob: String,
    /// What its samples say in short, the same for every file of one recording; none in records of a time when
    /// nobody noted it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fingerprint: Option<String>,
    /// How the log was recorded; none in records of a time when nobody noted it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recording: Option<Recording>,
    /// SHA-256 of the evidence in hexadecimal: the name of its blob.
    pub evidence_blob: String,
    /// What the pull turned out to be.
    pub summary: PullSummary,
}
