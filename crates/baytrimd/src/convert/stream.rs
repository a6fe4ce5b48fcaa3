//! Live pulls.

use std::collections::BTreeMap;

use baytrim_api::v1;
use baytrim_estimate::LivePull;
use baytrim_intake::standard_channels;
use baytrim_jobs::Refusal;
use baytrim_model::channel::{ChannelMap, EvidenceKind, Quantity};
use baytrim_model::field::FieldError;
use baytrim_model::ids::{JobId, RequestId};
use baytrim_model::power::Conditions;
use baytrim_model::samples::Samples;

use super::{name, power, pull, request};
use crate::limits::BATCH_ROWS_MAX;

/// What a live pull is opened or resumed with.
#[derive(Debug, Clone, PartialEq)]
pub struct Opening {
    /// The job.
    pub job: JobId,
    /// The bay, as the job names it.
    pub bay: String,
    /// Table revision loaded in the vehicle; empty: the one in force.
    pub revision: String,
    /// Stage that the vehicle is in; empty: the one begun last.
    pub stage: String,
    /// Riding mode; empty: none is named.
    pub mode: String,
    /// Revision of that mode's grip table loaded in the vehicle; empty: the one in force.
    pub grip_revision: String,
    /// The client's name for the pull.
    pub request_id: RequestId,
    /// The channel map that the finished log is read with: the standard one, with the evidence asked for.
    pub channels: ChannelMap,
    /// The bay's air as it was given; none where nobody gave any.
    pub conditions: Option<Conditions>,
}

/// Returns what a live pull is opened or resumed with.
///
/// # Errors
/// When a name is none, or the evidence is not known.
pub fn opening(open: &v1::OpenStream) -> Result<Opening, Refusal> {
    let evidence = match v1::EvidenceKind::try_from(open.evidence) {
        Ok(v1::EvidenceKind::Unspecified | v1::EvidenceKind::Lambda) => EvidenceKind::Lambda,
        Ok(v1::EvidenceKind::Trims) => EvidenceKind::Trims,
        Ok(v1::EvidenceKind::LambdaAndTrims) => EvidenceKind::LambdaAndTrims,
        Err(_) => {
            let problem = format!("{} is none of its values", open.evidence);
            let remedy = "use a value that this daemon's proto has";
            return Err(Refusal::field("open.evidence", problem, remedy));
        }
    };
    Ok(Opening {
        job: name::parse_job("open.parent", &open.parent)?,
        bay: open.bay.clone(),
        revision: open.revision.clone(),
        stage: open.stage.clone(),
        mode: open.mode.clone(),
        grip_revision: open.grip_revision.clone(),
        request_id: request::stream_id(&open.request_id)?,
        channels: channels(evidence),
        conditions: power::conditions(open.conditions.as_ref())?,
    })
}

fn channels(evidence: EvidenceKind) -> ChannelMap {
    let mut map = standard_channels();
    map.evidence = evidence;
    if evidence == EvidenceKind::Trims
        && let Some(lambda) = map.channels.get_mut(&Quantity::Lambda)
    {
        lambda.optional = true;
    }
    map
}

/// Returns the samples of a batch, by itself: whether it goes on from the one before is not its matter.
///
/// # Errors
/// When it has no or too many rows, a column of another length, or an unknown or repeated quantity.
pub fn samples(batch: &v1::SampleBatch) -> Result<Samples, FieldError> {
    let rows = batch.offset_s.len();
    if !(1..=BATCH_ROWS_MAX).contains(&rows) {
        return Err(FieldError::new(
            "offset_s",
            format!("has {rows} rows"),
            format!("send 1 to {BATCH_ROWS_MAX} rows in a batch"),
        ));
    }
    let mut channels = BTreeMap::new();
    for (index, column) in batch.columns.iter().enumerate() {
        let quantity = quantity(index, &column.quantity)?;
        if column.values.len() != rows {
            return Err(FieldError::new(
                format!("columns.{quantity}"),
                format!("has {} values for {rows} times", column.values.len()),
                "give every column one value per time, NaN where there was no reading",
            ));
        }
        let values = column.values.iter().copied().map(f64::from).collect();
        if channels.insert(quantity, values).is_some() {
            let field = format!("columns[{index}].quantity");
            let problem = format!("{quantity} is there twice");
            return Err(FieldError::new(field, problem, "send each quantity once"));
        }
    }
    Ok(Samples {
        offset_s: batch.offset_s.clone(),
        channels,
    })
}

fn quantity(index: usize, text: &str) -> Result<Quantity, FieldError> {
    let known = Quantity::ALL
        .into_iter()
        .find(|quantity| quantity.as_str() == text);
    known.ok_or_else(|| {
        let names: Vec<&str> = Quantity::ALL.iter().map(|known| known.as_str()).collect();
        FieldError::new(
            format!("columns[{index}].quantity"),
            format!("{text:?} is not a known quantity"),
            format!("write one of {}", names.join(", ")),
        )
    })
}

/// Returns how a live pull stands.
pub fn progress(durable: u64, sample_count: usize, live: &LivePull) -> v1::StreamProgress {
    let visited = live.coverage().iter().filter(|node| node.dwell_s > 0.0);
    v1::StreamProgress {
        durable_sequence_number: durable,
        sample_count: sample_count as u64,
        accepted_s: live.accepted_s(),
        refused: live.refused().iter().map(pull::gate).collect(),
        visited_node_count: u32::try_from(visited.count()).unwrap_or(u32::MAX),
    }
}
