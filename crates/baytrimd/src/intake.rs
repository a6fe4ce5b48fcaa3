//! From a log in the store to a recorded pull.

use std::io::Read;

use baytrim_estimate::PullReading;
use baytrim_intake::{
    Intake, LogLimits, check_axes, fingerprint, parse_channel_map, read_log, standard_channels,
};
use baytrim_jobs::bay_delay::{expected_delay, learnt};
use baytrim_jobs::pulls::{self, Circumstances, PullBlobs};
use baytrim_jobs::state::Outcome;
use baytrim_jobs::{JobState, Refusal, realise};
use baytrim_ledger::BlobId;
use baytrim_model::channel::ChannelMap;
use baytrim_model::ids::JobId;
use baytrim_model::pull::{ChannelMapSource, PullWarning};
use baytrim_model::recording::Recording;
use baytrim_model::revision::TableKind;

use crate::evidence;
use crate::fault::{Fault, InternalFault};
use crate::shop::{Author, Decided, Loaded, Shop};

/// Returns the channel map that a log of `bay` is read with, and where it came from: the sender's own text,
/// else what the job gives for the bay, else the bay's own in force, else the standard column names.
///
/// # Errors
/// When the job knows no such bay, the text is no channel map, or the store fails.
pub fn channel_map(
    shop: &Shop,
    state: &JobState,
    bay: &str,
    text: &str,
) -> Result<(ChannelMap, ChannelMapSource), Fault> {
    let (name, setup) = pulls::find_bay(state, bay)?;
    if !text.trim().is_empty() {
        return Ok((sent(text)?, ChannelMapSource::Sent));
    }
    if let Some(map) = &setup.channels {
        return Ok((map.clone(), ChannelMapSource::Job));
    }
    Ok(match shop.bay(name)?.state.map_in_force() {
        Some(entry) => (entry.map.clone(), ChannelMapSource::Bay(entry.id)),
        None => (standard_channels(), ChannelMapSource::Standard),
    })
}

fn sent(text: &str) -> Result<ChannelMap, Refusal> {
    parse_channel_map(text).map_err(|mut errors| {
        for error in &mut errors {
            error.field = format!("open.channel_map, {}", error.field);
        }
        Refusal::Fields(errors)
    })
}

/// A log that was read as a pull.
#[derive(Debug)]
pub struct LogReading {
    /// What it says, with what is odd about the log among its warnings.
    pub reading: PullReading,
    /// The fingerprint of its samples.
    pub fingerprint: String,
    /// How it was recorded.
    pub recording: Recording,
}

/// Returns what a log says as a pull of the job.
///
/// # Errors
/// [`Fault::Log`] names row and column.
pub fn read(
    state: &JobState,
    circumstances: &Circumstances,
    source: &mut dyn Read,
    source_name: &str,
) -> Result<LogReading, Fault> {
    let intake = samples(state, &circumstances.channels, source, source_name)?;
    let mut reading = pulls::read(state, circumstances, &intake.samples)?;
    let recording = intake.report.recording();
    let warnings = &mut reading.summary.warnings;
    let odd = check_axes(&intake.samples, &state.spec.axes);
    warnings.splice(0..0, intake.report.warnings.into_iter().chain(odd));
    Ok(LogReading {
        reading,
        fingerprint: fingerprint(&intake.samples),
        recording,
    })
}

/// Returns the samples of a log.
///
/// # Errors
/// [`Fault::Log`] names row and column.
pub fn samples(
    state: &JobState,
    map: &ChannelMap,
    source: &mut dyn Read,
    source_name: &str,
) -> Result<Intake, Fault> {
    let name = if source_name.is_empty() {
        "live pull"
    } else {
        source_name
    };
    let limits = LogLimits::default();
    Ok(read_log(source, name, map, &state.spec.fuel, &limits)?)
}

/// Returns the circumstances of a pull with what earlier pulls in its bay told of the delay.
///
/// # Errors
/// The store's fault.
pub fn expecting(
    shop: &Shop,
    state: &JobState,
    circumstances: &Circumstances,
) -> Result<Circumstances, Fault> {
    let bay = shop.bay(&circumstances.bay)?.state;
    Ok(Circumstances {
        delay_expected: expected_delay(&bay, state.id(), &state.spec.engine),
        ..circumstances.clone()
    })
}

/// Tells the bay what a recorded pull told of its delay.
fn tell_bay(shop: &Shop, author: &Author, decided: &Decided) {
    let (Outcome::Pull(id), false) = (decided.outcome, decided.is_repeat) else {
        return;
    };
    let state = &decided.job.state;
    let Ok(pull) = state.pull(id) else { return };
    let Some(event) = learnt(state, &pull.record) else {
        return;
    };
    let author = Author {
        by: author.by.clone(),
        request_id: None,
    };
    let told = shop.decide_bay(&pull.record.bay, &author, &|_| false, |_| Ok(event.clone()));
    if let Err(fault) = told {
        // The pull is recorded; the next one in the bay leans on physics instead.
        tracing::warn!(bay = %pull.record.bay, error = %fault, "a delay that a pull told was not kept");
    }
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
    let _kept = shop.keep_blobs();
    let loaded = shop.job(job)?;
    let circumstances = &expecting(shop, &loaded.state, circumstances)?;
    let mut reader = shop.store().open_blob(&log).map_err(InternalFault::from)?;
    let LogReading {
        mut reading,
        fingerprint,
        recording,
    } = read(&loaded.state, circumstances, &mut reader, source_name)?;
    compare(shop, &loaded, circumstances, &mut reading)?;
    let evidence = evidence::encode(&reading.evidence)?;
    let evidence = shop
        .store()
        .put_blob(&evidence)
        .map_err(InternalFault::from)?;
    let blobs = PullBlobs {
        log: log.to_string(),
        fingerprint,
        recording,
        evidence: evidence.to_string(),
    };
    reading.summary.warnings.extend(seen_before(
        &loaded.state,
        Some(&blobs.log),
        &blobs.fingerprint,
    ));
    let decided = shop.decide(job, author, &is_pull, |job| {
        let (blobs, summary) = (blobs.clone(), reading.summary.clone());
        Ok(pulls::event(
            &job.state,
            circumstances,
            source_name,
            blobs,
            summary,
        )?)
    })?;
    tell_bay(shop, author, &decided);
    Ok(decided)
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
    if job.state.revisions_of(&TableKind::Fuel).nth(1).is_none() {
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

/// Warns when the very same log is in already, read another way, or the same recording in another file.
pub fn seen_before(state: &JobState, log: Option<&str>, print: &str) -> Option<PullWarning> {
    let mut pulls = state.pulls.iter().map(|pull| &pull.record);
    let same_file = pulls
        .clone()
        .find(|pull| Some(pull.log_blob.as_str()) == log);
    let (pull, what) = match same_file {
        Some(pull) => (pull, "the very same log is in as {}, read another way"),
        None => (
            pulls.find(|pull| pull.fingerprint.as_deref() == Some(print))?,
            "the same recording is in as {}, from another file",
        ),
    };
    let what = what.replace("{}", &pull.id.to_string());
    Some(PullWarning {
        code: "same_log".to_owned(),
        message: format!(
            "{what}; leave one of the two out of proposals, or its readings count twice"
        ),
    })
}
