//! A finished log comes in and becomes a pull.
//!
//! A log that is refused leaves no record; its blob stays, unnamed, until the store's owner clears
//! such blobs away.

use std::sync::Arc;

use baytrim_api::v1::{OpenUpload, Pull, UploadPullRequest};
use baytrim_jobs::pulls::{self, Circumstances};
use baytrim_jobs::{JobState, Refusal};
use baytrim_model::ids::{Actor, JobId};
use tonic::Streaming;

use super::chunks::{Chunks, keep, store};
use crate::clock;
use crate::compute::{Lane, blocking};
use crate::convert::request::Submitter;
use crate::convert::{name, power, pull, request};
use crate::ending::Ending;
use crate::fault::Fault;
use crate::intake::{self, LogReading};
use crate::limits::SOURCE_NAME_BYTES_MAX;
use crate::shop::{Author, Decided, Shop};

/// What an upload is.
struct Upload {
    job: JobId,
    author: Author,
    circumstances: Circumstances,
    source_name: String,
}

/// What opening an upload came to.
enum Opened {
    Wanted(Box<Upload>),
    Recorded(Box<Decided>),
}

/// Takes a log and returns the pull that it became.
pub(super) async fn take(
    shop: Arc<Shop>,
    ending: Ending,
    by: Submitter,
    inbound: Streaming<UploadPullRequest>,
) -> Result<Pull, Fault> {
    let mut chunks = Chunks {
        inbound,
        ending,
        idle: shop.limits().idle,
    };
    let open = chunks.open().await?;
    by.check(&open.bay)?;
    let validate_only = open.validate_only;
    let opened = {
        let shop = Arc::clone(&shop);
        blocking(move || begin(&shop, by.by, open)).await?
    };
    let upload = match opened {
        Opened::Recorded(decided) => return pull::of_outcome(&decided),
        Opened::Wanted(upload) => upload,
    };
    if validate_only {
        return check(shop, chunks, *upload).await;
    }
    let writer = {
        let shop = Arc::clone(&shop);
        blocking(move || Ok(shop.store().begin_blob()?)).await?
    };
    let log = store(&mut chunks, writer, shop.limits().upload_bytes_max).await?;
    let (worker, lane) = (Arc::clone(&shop), Lane::of(&upload.job));
    let work = move || {
        let Upload {
            job,
            author,
            circumstances,
            source_name,
        } = *upload;
        intake::record(&worker, &job, &author, &circumstances, &source_name, log)
    };
    pull::of_outcome(&shop.compute().run(lane, work).await?)
}

fn begin(shop: &Shop, by: Actor, open: OpenUpload) -> Result<Opened, Fault> {
    let id = name::parse_job("open.parent", &open.parent)?;
    let author = request::author(by, &open.request_id)?;
    let source_name = source_name(&open.source_name)?;
    let job = shop.job(&id)?;
    match job.state.outcome(author.request_id.as_ref()) {
        Some(outcome) if intake::is_pull(outcome) => {
            return Ok(Opened::Recorded(Box::new(Decided {
                job,
                outcome,
                is_repeat: true,
            })));
        }
        Some(_) => return Err(Refusal::RequestIdReused(open.request_id).into()),
        None => {}
    }
    let circumstances = circumstances(shop, &job.state, &open)?;
    Ok(Opened::Wanted(Box::new(Upload {
        job: id,
        author,
        circumstances,
        source_name,
    })))
}

fn circumstances(shop: &Shop, state: &JobState, open: &OpenUpload) -> Result<Circumstances, Fault> {
    let map = intake::channel_map(shop, state, &open.bay, &open.channel_map)?;
    let conditions = power::conditions(open.conditions.as_ref())?;
    let found = pulls::circumstances(state, &open.bay, &open.revision, &open.stage, map)?;
    let (mode, grip_revision) = (&open.mode, &open.grip_revision);
    Ok(Circumstances {
        conditions,
        ..pulls::in_mode(state, found, mode, grip_revision)?
    })
}

/// Returns the name that messages call the log by.
pub(super) fn source_name(text: &str) -> Result<String, Refusal> {
    let text = if text.is_empty() { "log" } else { text };
    if text.len() <= SOURCE_NAME_BYTES_MAX && !text.chars().any(char::is_control) {
        return Ok(text.to_owned());
    }
    Err(Refusal::field(
        "open.source_name",
        format!("is {} bytes long or holds control characters", text.len()),
        format!("send the file's name, {SOURCE_NAME_BYTES_MAX} bytes at the most"),
    ))
}

/// Reads a log that is not to be recorded.
async fn check(
    shop: Arc<Shop>,
    mut chunks: Chunks<UploadPullRequest>,
    upload: Upload,
) -> Result<Pull, Fault> {
    let mut file = keep(&mut chunks, shop.limits().upload_bytes_max).await?;
    let (worker, lane) = (Arc::clone(&shop), Lane::of(&upload.job));
    let work = move || {
        let job = worker.job(&upload.job)?;
        let name = &upload.source_name;
        let circumstances = intake::expecting(&worker, &job.state, &upload.circumstances)?;
        let LogReading {
            mut reading,
            fingerprint,
            recording,
        } = intake::read(&job.state, &circumstances, &mut file, name)?;
        let seen = intake::seen_before(&job.state, None, &fingerprint);
        reading.summary.warnings.extend(seen);
        intake::compare(&worker, &job, &circumstances, &mut reading)?;
        let (axes, by) = (&job.state.spec.axes, &upload.author.by);
        let summary = &reading.summary;
        let checked = pull::checked(axes, &upload.circumstances, name, summary, by, clock::now());
        Ok(Pull {
            recording: Some(pull::recording(&recording)),
            ..checked
        })
    };
    shop.compute().run(lane, work).await
}
