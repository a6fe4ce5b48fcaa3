//! From a node back to what is behind its number.
//!
//! Two questions: what each pull adds to the answer, told from the evidence alone ([`trace_node`]), and which
//! samples of a log speak of the node, told by reading the log once more ([`trace_log`]).

use baytrim_model::axis::Axes;
use baytrim_model::gate::GateName;
use baytrim_model::pull::NodeCoverage;
use baytrim_model::samples::Samples;

use crate::context::PullContext;
use crate::delay;
use crate::evidence::PullEvidence;
use crate::fit::{Fit, LeftOut, Variances};
use crate::frame::Frame;
use crate::pipeline::Pipeline;
use crate::posterior::Posterior;
use crate::read::{ReadError, check_columns};
use crate::row::Columns;
use crate::witness::Witness;

/// What is believed of a node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NodeBelief {
    /// Natural logarithm of the fuel multiplier that the base table needs.
    pub theta: f64,
    /// Its standard error without the sensor's bias, ln units.
    pub standard_error: f64,
}

/// What one pull adds to a node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PullShare {
    /// Dwell and visits of the pull on the node.
    pub coverage: NodeCoverage,
    /// What the pull alone says, with prior and sizes of noise as they are; none where that cannot be told.
    pub alone: Option<NodeBelief>,
    /// What the other pulls say without it.
    pub without: Option<NodeBelief>,
    /// How far the fit distrusts its readings of the node: 0 for readings that fit, 1 for readings set aside as
    /// outliers; none where it says nothing of the node.
    pub distrust: Option<f64>,
    /// The visited node that moves farthest when the pull is left out, and by how much theta moves, ln units.
    pub farthest: Option<(usize, f64)>,
}

/// Where the uncertainty of a node comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ErrorSource {
    /// Fast noise, and what makes two visits of one place differ.
    Readings,
    /// Borrowed from neighbours and from what is usual.
    Borrowed,
    /// Offsets of whole pulls.
    PullOffsets,
    /// Errors of the delay, each pull's own.
    OwnDelay,
    /// The error of the delay that all pulls share: that of the flow model.
    SharedDelay,
    /// Wall film.
    Film,
    /// The sensor's own bias.
    Sensor,
}

/// What shrinks a part of the uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Remedy {
    /// More seconds and more visits on and about the node.
    MoreVisits,
    /// More pulls.
    MorePulls,
    /// A delay that is better known.
    BetterDelay,
    /// Nothing that a pull can do: another sensor, or a check against a reference gas.
    NoPull,
}

/// One part of a node's uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorPart {
    /// Where it comes from.
    pub source: ErrorSource,
    /// Its standard deviation, ln units, calibrated. Squares of all parts add up to the whole.
    pub standard_error: f64,
}

/// What is behind a node's number.
#[derive(Debug, Clone, PartialEq)]
pub struct NodeTrace {
    /// The node.
    pub node: usize,
    /// One entry per pull, in the order in which they were given.
    pub pulls: Vec<PullShare>,
    /// Parts of the uncertainty, the sensor's last.
    pub errors: Vec<ErrorPart>,
}

impl ErrorSource {
    /// Returns its name, for scripts.
    pub fn name(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Borrowed => "borrowed",
            Self::PullOffsets => "pull_offsets",
            Self::OwnDelay => "own_delay",
            Self::SharedDelay => "shared_delay",
            Self::Film => "film",
            Self::Sensor => "sensor",
        }
    }

    /// Returns what shrinks it.
    pub fn remedy(self) -> Remedy {
        match self {
            Self::Readings | Self::Borrowed | Self::Film => Remedy::MoreVisits,
            Self::PullOffsets => Remedy::MorePulls,
            Self::OwnDelay | Self::SharedDelay => Remedy::BetterDelay,
            Self::Sensor => Remedy::NoPull,
        }
    }
}

/// Returns what is behind `node`; `fit` and `posterior` came of `pulls`.
///
/// Evidence adds up, so a pull is left out by taking its part of the normal equations away; sizes of noise and prior
/// stay as all pulls together gave them.
///
/// # Panics
/// When the axes have no such node, or `pulls` are others than those that were fitted.
pub fn trace_node(
    axes: &Axes,
    pulls: &[&PullEvidence],
    fit: &Fit,
    posterior: &Posterior,
    node: usize,
) -> NodeTrace {
    assert!(node < axes.node_count(), "no such node");
    let solved = posterior.solved();
    assert_eq!(
        solved.ranks.len(),
        pulls.len(),
        "the pulls that were fitted"
    );
    let left_out = solved.left_out(pulls);
    let distrust = solved.distrust(node, pulls.len());
    let shares = pulls.iter().zip(&left_out).zip(distrust);
    let pulls_shares = shares.map(|((pull, left), distrust)| {
        let belief = |solution: &crate::fit::Solution| {
            let place = solved.order.position[node];
            NodeBelief {
                theta: solution.theta[place],
                standard_error: solved.factor * solution.variances()[place].max(0.0).sqrt(),
            }
        };
        PullShare {
            coverage: pull.coverage().nth(node).unwrap_or_default(),
            alone: left.as_ref().map(|left| belief(&left.alone)),
            without: left.as_ref().map(|left| belief(&left.without)),
            distrust,
            farthest: left
                .as_ref()
                .and_then(|left| farthest(fit, posterior, left)),
        }
    });
    NodeTrace {
        node,
        pulls: pulls_shares.collect(),
        errors: errors(fit, solved.variances_at(pulls, node)),
    }
}

fn farthest(fit: &Fit, posterior: &Posterior, left: &LeftOut) -> Option<(usize, f64)> {
    let without = posterior.solved().by_node(&left.without.theta);
    let moves = without.iter().zip(&fit.theta).map(|(a, b)| a - b);
    let visited = moves.enumerate().filter(|(node, _)| fit.visits[*node] > 0);
    visited.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
}

fn errors(fit: &Fit, variances: Option<Variances>) -> Vec<ErrorPart> {
    let part = |source, variance: f64| ErrorPart {
        source,
        standard_error: variance.max(0.0).sqrt(),
    };
    let mut errors = Vec::new();
    if let Some(variances) = variances {
        errors.extend([
            part(ErrorSource::Readings, variances.readings),
            part(ErrorSource::Borrowed, variances.borrowed),
            part(ErrorSource::PullOffsets, variances.pulls),
            part(ErrorSource::OwnDelay, variances.own_delay),
            part(ErrorSource::SharedDelay, variances.shared_delay),
            part(ErrorSource::Film, variances.film),
        ]);
    }
    errors.push(part(ErrorSource::Sensor, fit.sensor_error.powi(2)));
    errors
}

/// What one gate refused near a node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NodeRefusal {
    /// The gate.
    pub gate: GateName,
    /// Samples taken while the engine ran near the node.
    pub sample_count: u64,
    /// Their seconds, weighted by the node's share of the operating point: what the node would have had.
    pub weight_s: f64,
}

/// Rows that follow each other and speak of a node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowSpan {
    /// First row, counted from 0 in the order of the log.
    pub first_row: u64,
    /// Last row.
    pub last_row: u64,
    /// Time of the first, seconds since the pull began.
    pub start_s: f64,
    /// Time of the last.
    pub end_s: f64,
    /// Seconds, weighted by the node's share of the footprint.
    pub weight_s: f64,
}

/// One sample near a node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SamplePoint {
    /// Its row, counted from 0 in the order of the log.
    pub row: u64,
    /// Seconds since the pull began.
    pub offset_s: f64,
    /// Engine speed at which the exhaust that was read was made: the middle of the footprint. Of a refused
    /// sample, the speed at that moment.
    pub rpm: f64,
    /// Plate opening likewise, percent.
    pub plate_percent: f64,
    /// Lambda as read; NaN where there is none.
    pub lambda: f64,
    /// The node's share of the footprint; of a refused sample, of the operating point.
    pub share: f64,
    /// Log fuel need that it shows of the base table; NaN for a refused sample.
    pub need: f64,
    /// The gate that refused it.
    pub refused_by: Option<GateName>,
}

/// What a log says of one node.
#[derive(Debug, Clone, PartialEq)]
pub struct LogTrace {
    /// Seconds of accepted footprint weight.
    pub dwell_s: f64,
    /// Rows of the log.
    pub row_count: u64,
    /// What gates refused near the node, in the order of the gates.
    pub refused: Vec<NodeRefusal>,
    /// Spans of accepted rows with at least a twentieth of the node in their footprint, in order: at most 200,
    /// the weightiest.
    pub spans: Vec<RowSpan>,
    /// Such spans in all.
    pub span_count: usize,
    /// Samples near the node, in order, thinned evenly.
    pub points: Vec<SamplePoint>,
    /// One in so many samples near the node is among the points.
    pub point_stride: u64,
}

/// Reads a log once more and returns what it says of `node`, with at most `points_max` points.
///
/// With the delay that the pull was read with as [`baytrim_model::bay::DelayChoice::Given`] in `context`, rows are judged as they were then.
///
/// # Errors
/// As [`crate::read_pull`].
pub fn trace_log(
    samples: &Samples,
    context: &PullContext<'_>,
    node: usize,
    points_max: usize,
) -> Result<LogTrace, ReadError> {
    check_columns(samples)?;
    let frame = Frame::new(context)?;
    let columns = Columns::new(samples);
    let found = delay::of_pull(context.delay, &frame, &columns);
    let mut pipeline = Pipeline::new(frame, found.model, false);
    pipeline.watch(Witness::new(node, points_max));
    for row in 0..columns.len() {
        pipeline.push(columns.row(row));
    }
    let witness = pipeline.into_witness();
    Ok(witness.unwrap_or_else(|| Witness::new(node, 0)).finish())
}
