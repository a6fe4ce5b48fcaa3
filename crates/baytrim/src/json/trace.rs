//! What is behind a node's number, for scripts.

use baytrim_api::v1::{
    ErrorPart, GateCount, LogTrace, NodeBelief, NodeMove, NodeTrace, PullShare, RowSpan,
    SamplePoint,
};
use serde::Serialize;

use crate::name::{number, short};

/// A trace.
#[derive(Debug, Serialize)]
pub(crate) struct TraceJson<'a> {
    id: String,
    rpm: f64,
    plate_percent: f64,
    revision: &'a str,
    correction_percent: f64,
    standard_error_percent: f64,
    total_standard_error_percent: f64,
    target_lambda: f64,
    measured_fraction: f64,
    dwell_s: f64,
    visits: u32,
    errors: Vec<ErrorJson<'a>>,
    pulls: Vec<PullJson<'a>>,
    cautions: &'a [String],
}

#[derive(Debug, Serialize)]
struct ErrorJson<'a> {
    source: &'a str,
    standard_error_percent: f64,
    remedy: &'a str,
    sentence: &'a str,
}

#[derive(Debug, Serialize)]
struct PullJson<'a> {
    pull: &'a str,
    bay: &'a str,
    dwell_s: f64,
    visits: u32,
    alone: Option<BeliefJson>,
    without: Option<BeliefJson>,
    distrust_fraction: Option<f64>,
    farthest: Option<MoveJson>,
    log: Option<LogJson<'a>>,
}

#[derive(Debug, Serialize)]
struct BeliefJson {
    correction_percent: f64,
    standard_error_percent: f64,
}

#[derive(Debug, Serialize)]
struct MoveJson {
    rpm: f64,
    plate_percent: f64,
    move_percent: f64,
}

#[derive(Debug, Serialize)]
struct LogJson<'a> {
    row_count: u64,
    refused: Vec<RefusedJson<'a>>,
    spans: Vec<SpanJson>,
    span_count: u64,
    points: Vec<PointJson<'a>>,
    point_stride: u64,
}

#[derive(Debug, Serialize)]
struct RefusedJson<'a> {
    gate: &'a str,
    sample_count: u64,
    refused_s: f64,
    sentence: &'a str,
}

#[derive(Debug, Serialize)]
struct SpanJson {
    first_row: u64,
    last_row: u64,
    start_s: f64,
    end_s: f64,
    weight_s: f64,
}

#[derive(Debug, Serialize)]
struct PointJson<'a> {
    row: u64,
    offset_s: f64,
    rpm: f64,
    plate_percent: f64,
    lambda: Option<f64>,
    share_fraction: f64,
    correction_percent: Option<f64>,
    refused_by: Option<&'a str>,
}

impl<'a> From<&'a NodeTrace> for TraceJson<'a> {
    fn from(trace: &'a NodeTrace) -> Self {
        Self {
            id: short(&trace.name),
            rpm: trace.rpm,
            plate_percent: trace.plate_percent,
            revision: number(&trace.revision),
            correction_percent: trace.correction_percent,
            standard_error_percent: trace.standard_error_percent,
            total_standard_error_percent: trace.total_standard_error_percent,
            target_lambda: trace.target_lambda_ratio,
            measured_fraction: trace.measured_fraction,
            dwell_s: trace.dwell_s,
            visits: trace.visits,
            errors: trace.errors.iter().map(error).collect(),
            pulls: trace.pulls.iter().map(pull).collect(),
            cautions: &trace.cautions,
        }
    }
}

fn error(part: &ErrorPart) -> ErrorJson<'_> {
    ErrorJson {
        source: &part.source,
        standard_error_percent: part.standard_error_percent,
        remedy: &part.remedy,
        sentence: &part.sentence,
    }
}

fn pull(share: &PullShare) -> PullJson<'_> {
    PullJson {
        pull: number(&share.name),
        bay: &share.bay,
        dwell_s: share.dwell_s,
        visits: share.visits,
        alone: share.alone.as_ref().map(belief),
        without: share.without.as_ref().map(belief),
        distrust_fraction: share.distrust_fraction,
        farthest: share.farthest.as_ref().map(farthest),
        log: share.log.as_ref().map(log),
    }
}

fn belief(belief: &NodeBelief) -> BeliefJson {
    BeliefJson {
        correction_percent: belief.correction_percent,
        standard_error_percent: belief.standard_error_percent,
    }
}

fn farthest(moved: &NodeMove) -> MoveJson {
    MoveJson {
        rpm: moved.rpm,
        plate_percent: moved.plate_percent,
        move_percent: moved.move_percent,
    }
}

fn log(log: &LogTrace) -> LogJson<'_> {
    LogJson {
        row_count: log.row_count,
        refused: log.refused.iter().map(refused).collect(),
        spans: log.spans.iter().map(span).collect(),
        span_count: log.span_count,
        points: log.points.iter().map(point).collect(),
        point_stride: log.point_stride,
    }
}

fn refused(count: &GateCount) -> RefusedJson<'_> {
    RefusedJson {
        gate: &count.gate,
        sample_count: count.sample_count,
        refused_s: count.refused_s,
        sentence: &count.sentence,
    }
}

fn span(span: &RowSpan) -> SpanJson {
    SpanJson {
        first_row: span.first_row,
        last_row: span.last_row,
        start_s: span.start_s,
        end_s: span.end_s,
        weight_s: span.weight_s,
    }
}

fn point(point: &SamplePoint) -> PointJson<'_> {
    PointJson {
        row: point.row,
        offset_s: point.offset_s,
        rpm: point.rpm,
        plate_percent: point.plate_percent,
        lambda: point.lambda_ratio,
        share_fraction: point.share_fraction,
        correction_percent: point.correction_percent,
        refused_by: Some(point.refused_by.as_str()).filter(|gate| !gate.is_empty()),
    }
}
