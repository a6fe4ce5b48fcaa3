//! From a log in the store to a recorded pull.

use std::io::Read;

use baytrim_estimate::PullReading;
use baytrim_intake::{LogLimits, check_axes, parse_channel_map, read_log, standard_channels};
use baytrim_jobs::pulls::{self, Circumstances, PullBlobs};
use baytrim_jobs::state::Outcome;
use baytrim_jobs::{JobState, Refusal, realise};
use baytrim_ledger::BlobId;
use baytrim_model::channel::ChannelMap;
use baytrim_model::ids::JobId;
use baytrim_model::pull::PullWarning;

use crate::evidence;
use crate::fault::{Fault, InternalFault};
use crate::shop::{Author, Decided, Loaded, Shop};

/// Returns the channel map that a log of `bay` is read with: the sender's own text, else the bay's,
/// else the standard column names.
///
/// # Errors
/// When the job knows no such bay, or the text is no channel map.
pub fn channel_map(state: &JobState, bay: &str, text: &str) -> Result<ChannelMap, Refusal> {
    let (_, setup) = pulls::find_bay(state, bay)?;
    if text.trim().is_empty() {
        return Ok(setup.channels.clone().unwrap_or_else(standard_channels));
    }
    parse_channel_map(text).map_err(|mut errors| {
        for error in &mut errors {
            error.field = format!("open.channel_map, {}", error.field);
        }
        Refusal::Fields(errors)
    })
}

/// Returns what a log says as a pull of the job, with what is odd about the log among its warnings.
///
/// # Errors
/// [`Fault::Log`] names row and column.
pub fn read(
    state: &JobState,
    circumstances: &Circumstances,
    source: &mut dyn Read,
    source_name: &str,
) -> Result<PullReading, Fault> {
    let name = if source_name.is_empty() {
        "live pull"
    } else {
        source_name
    };
    let limits = LogLimits::default();
    let map = &circumstances.channels;
    let intake = read_log(source, name, map, &state.spec.fuel, &limits)?;
    let mut reading = pulls::read(state, circumstances, &intake.samples)?;
    let warnings = &mut reading.summary.warnings;
    let odd = check_axes(&intake.samples, &state.spec.axes);
    warnings.splice(0..0, intake.report.warnings.into_iter().chain(odd));
    Ok(reading)
}

/// Reads the log `log` and records it as a pull of `job`: evidence first, then the record that names
/// log and evidence.
///
/// # Errors
/// As [`read`]; nothing is recorded then, though the log's blob stays in the store.
pub fn record(
    shop: &Shop,
    job: &JobId,
    author: &Author,
    circumstances: &Circumstances,
    source_name: &str,
    log: BlobId,
) -> Result<Decided, Fault> {
    let loaded = shop.job(job)?;
    let mut reader = shop.store().open_blob(&log).map_err(InternalFault::from)?;
    let mut reading = read(&loaded.state, circumstances, &mut reader, source_name)?;
    compare(shop, &loaded, circumstances, &mut reading)?;
    let evidence = evidence::encode(&reading.evidence)?;
    let evidence = shop
        .store()
        .put_blob(&evidence)
        .map_err(InternalFault::from)?;
    let blobs = PullBlobs {
        log: log.to_string(),
        evidence: evidence.to_string(),
    };
    reading
        .summary
        .warnings
        .extend(seen_before(&loaded.state, &blobs.log));
    shop.decide(job, author, &is_pull, |job| {
        let (blobs, summary) = (blobs.clone(), reading.summary.clone());
        Ok(pulls::event(
            &job.state,
            circumstances,
            source_name,
            blobs,
            summary,
        )?)
    })
}

/// Compares what a pull says with what the job's earlier pulls predict, and notes it in the summary.
///
/// # Errors
/// The store's fault, or evidence of an earlier pull that can't be had any more.
pub fn compare(
    shop: &Shop,
    job: &Loaded,
    circumstances: &Circumstances,
    reading: &mut PullReading,
) -> Result<(), Fault> {
    if job.state.revisions.len() < 2 {
        return Ok(());
    }
    let pulls = realise::predicting_pulls(&job.state);
    let evidence = shop.evidence().of_pulls(&**shop.store(), job, &pulls)?;
    let evidence: Vec<_> = evidence.iter().map(|evidence| &**evidence).collect();
    Ok(realise::compare(
        &job.state,
        circumstances,
        &pulls,
        &evidence,
        reading,
    )?)
}

/// Returns whether an outcome is that of a pull.
pub fn is_pull(outcome: Outcome) -> bool {
    matches!(outcome, Outcome::Pull(_))
}

/// Warns when the very same log is in already, read another way.
fn seen_before(state: &JobState, log: &str) -> Option<PullWarning> {
    let same = state
        .pulls
        .iter()
        .find(|pull| pull.record.log_blob == log)?;
    Some(PullWarning {
        code: "same_log".to_owned(),
        message: format!(
            "the very same log is in as {} already, read another way; leave one of the two out of proposals, or its readings count twice",
            same.record.id
        ),
    })
}
