//! What is behind a node's number.

use baytrim_api::v1;
use baytrim_estimate::LogTrace;
use baytrim_estimate::trace::{
    ErrorPart, ErrorSource, NodeBelief, NodeRefusal, PullShare, Remedy, RowSpan, SamplePoint,
};
use baytrim_jobs::propose::CAUTIONS;
use baytrim_jobs::trace::{POINTS, POINTS_MAX, TraceAsk, Traced};
use baytrim_jobs::{JobState, Refusal};
use baytrim_model::ids::{JobId, ProposalId, PullId};

use super::name;

/// Returns the job, and the proposal where the name is one's.
///
/// # Errors
/// When the name is neither a job's nor a proposal's.
pub fn subject(text: &str) -> Result<(JobId, Option<ProposalId>), Refusal> {
    if text.contains("/proposals/") {
        let (job, proposal) = name::parse_proposal("name", text)?;
        return Ok((job, Some(proposal)));
    }
    Ok((name::parse_job("name", text)?, None))
}

/// Returns how many points of each pull are asked for.
///
/// # Errors
/// When the number is negative or too large.
pub fn points_max(asked: i32) -> Result<usize, Refusal> {
    match usize::try_from(asked) {
        Ok(0) => Ok(POINTS),
        Ok(count) if count <= POINTS_MAX => Ok(count),
        _ => Err(Refusal::field(
            "point_count_max",
            format!("is {asked}"),
            format!("give 1 to {POINTS_MAX}, or 0 for {POINTS}"),
        )),
    }
}

fn percent(log: f64) -> f64 {
    100.0 * log.exp_m1()
}

/// Returns a trace with what the logs say, one entry per pull or none at all.
pub fn trace(
    state: &JobState,
    subject: &str,
    ask: &TraceAsk,
    traced: &Traced,
    logs: &[LogTrace],
) -> v1::NodeTrace {
    let (rpm, plate_percent) = state.spec.axes.position(ask.node);
    let pulls = ask.pulls.iter().zip(&traced.trace.pulls).enumerate();
    let pulls = pulls.map(|(place, (&id, share))| {
        let log = logs.get(place).map(|log| self::log(log, traced.log_trim));
        pull(state, id, share, traced.log_trim, log)
    });
    let coverage = || traced.trace.pulls.iter().map(|pull| pull.coverage);
    v1::NodeTrace {
        name: subject.to_owned(),
        rpm,
        plate_percent,
        revision: ask.revision.to_string(),
        correction_percent: percent(traced.need),
        standard_error_percent: 100.0 * traced.standard_error,
        total_standard_error_percent: 100.0 * traced.standard_error.hypot(traced.sensor_error),
        target_lambda_ratio: state.spec.target_lambda[ask.node],
        measured_fraction: traced.measured_fraction,
        dwell_s: coverage().map(|covered| covered.dwell_s).sum(),
        visits: coverage().map(|covered| covered.visits).sum(),
        errors: traced.trace.errors.iter().map(error).collect(),
        pulls: pulls.collect(),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
    }
}

fn error(part: &ErrorPart) -> v1::ErrorPart {
    let remedy = match part.source.remedy() {
        Remedy::MoreVisits => "more_visits",
        Remedy::MorePulls => "more_pulls",
        Remedy::BetterDelay => "better_delay",
        Remedy::NoPull => "no_pull",
    };
    v1::ErrorPart {
        source: part.source.name().to_owned(),
        standard_error_percent: 100.0 * part.standard_error,
        remedy: remedy.to_owned(),
        sentence: sentence(part.source).to_owned(),
    }
}

fn sentence(source: ErrorSource) -> &'static str {
    match source {
        ErrorSource::Readings => "noise of readings and visits; more visits shrink it",
        ErrorSource::Borrowed => "borrowed from neighbours; visits here shrink it",
        ErrorSource::PullOffsets => "offset of whole pulls; more pulls shrink it",
        ErrorSource::OwnDelay => "delay of each pull; a pull that tells its delay shrinks it",
        ErrorSource::SharedDelay => {
            "delay of all pulls; only a delay that is better known shrinks it"
        }
        ErrorSource::Film => "wall film; settled visits shrink it",
        ErrorSource::Sensor => {
            "the sensor's own bias; no pull shrinks it, a check against another sensor does"
        }
    }
}

fn pull(
    state: &JobState,
    id: PullId,
    share: &PullShare,
    log_trim: f64,
    log: Option<v1::LogTrace>,
) -> v1::PullShare {
    let belief = |belief: NodeBelief| v1::NodeBelief {
        correction_percent: percent(belief.theta - log_trim),
        standard_error_percent: 100.0 * belief.standard_error,
    };
    let bay = state.pull(id).map(|entry| entry.record.bay.to_string());
    let farthest = share.farthest.map(|(node, moved)| {
        let (rpm, plate_percent) = state.spec.axes.position(node);
        v1::NodeMove {
            rpm,
            plate_percent,
            move_percent: percent(moved),
        }
    });
    v1::PullShare {
        name: name::pull(state.id(), id),
        bay: bay.unwrap_or_default(),
        dwell_s: share.coverage.dwell_s,
        visits: share.coverage.visits,
        alone: share.alone.map(belief),
        without: share.without.map(belief),
        distrust_fraction: share.distrust,
        farthest,
        log,
    }
}

fn log(log: &LogTrace, log_trim: f64) -> v1::LogTrace {
    let point = |point: &SamplePoint| sample(point, log_trim);
    v1::LogTrace {
        row_count: log.row_count,
        refused: log.refused.iter().map(refusal).collect(),
        spans: log.spans.iter().map(span).collect(),
        span_count: log.span_count as u64,
        points: log.points.iter().map(point).collect(),
        point_stride: log.point_stride,
    }
}

fn refusal(refused: &NodeRefusal) -> v1::GateCount {
    v1::GateCount {
        gate: refused.gate.as_str().to_owned(),
        sample_count: refused.sample_count,
        refused_s: refused.weight_s,
        sentence: refused.gate.sentence().to_owned(),
    }
}

fn span(span: &RowSpan) -> v1::RowSpan {
    v1::RowSpan {
        first_row: span.first_row,
        last_row: span.last_row,
        start_s: span.start_s,
        end_s: span.end_s,
        weight_s: span.weight_s,
    }
}

fn sample(point: &SamplePoint, log_trim: f64) -> v1::SamplePoint {
    let finite = |value: f64| value.is_finite().then_some(value);
    let gate = point.refused_by.map(|gate| gate.as_str().to_owned());
    v1::SamplePoint {
        row: point.row,
        offset_s: point.offset_s,
        rpm: point.rpm,
        plate_percent: point.plate_percent,
        lambda_ratio: finite(point.lambda),
        share_fraction: point.share,
        correction_percent: finite(percent(point.need - log_trim)),
        refused_by: gate.unwrap_or_default(),
    }
}
