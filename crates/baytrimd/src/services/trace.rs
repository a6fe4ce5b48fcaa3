//! What is behind a node's number: evidence from the store, then each pull's log once more.

use baytrim_api::v1::{TraceNodeRequest, TraceNodeResponse};
use baytrim_estimate::LogTrace;
use baytrim_jobs::state::PullEntry;
use baytrim_jobs::trace;

use super::corrections::excluded;
use crate::convert;
use crate::fault::Fault;
use crate::intake;
use crate::retention::open_log;
use crate::shop::{Loaded, Shop};

/// Returns what is behind a node's number.
///
/// # Errors
/// What the request lacks, the store's fault, or a log that can't be read any more.
pub(super) fn node(shop: &Shop, request: &TraceNodeRequest) -> Result<TraceNodeResponse, Fault> {
    let (id, proposal) = convert::trace::subject(&request.name)?;
    let points_max = convert::trace::points_max(request.point_count_max)?;
    let excluded = excluded(&request.excluded_pulls)?;
    let job = shop.job(&id)?;
    let place = Some((request.rpm, request.plate_percent));
    let ask = trace::ask(&job.state, proposal, place, &excluded)?;
    let evidence = shop
        .evidence()
        .of_pulls(&**shop.store(), &job, &ask.pulls)?;
    let evidence: Vec<_> = evidence.iter().map(|evidence| &**evidence).collect();
    let traced = trace::node(&job.state, &ask, &evidence)?;
    let mut logs = Vec::new();
    for &pull in &ask.pulls {
        if !request.skip_logs {
            let entry = job.state.pull(pull)?;
            logs.push(log(shop, &job, entry, ask.node, points_max)?);
        }
    }
    let trace = convert::trace::trace(&job.state, &request.name, &ask, &traced, &logs);
    Ok(TraceNodeResponse { trace: Some(trace) })
}

fn log(
    shop: &Shop,
    job: &Loaded,
    pull: &PullEntry,
    node: usize,
    points_max: usize,
) -> Result<LogTrace, Fault> {
    let record = &pull.record;
    let mut reader = open_log(&**shop.store(), job.state.id(), record)?;
    let intake = intake::samples(
        &job.state,
        &record.channels,
        &mut reader,
        &record.source_name,
    )?;
    Ok(trace::log(
        &job.state,
        pull,
        &intake.samples,
        node,
        points_max,
    )?)
}
