//! `baytrim pull submit`.

use std::path::Path;

use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::upload_pull_request::Message;
use baytrim_api::v1::{Axes, OpenUpload, Pull, UploadPullRequest};

use super::send::{Wrapping, file_name, send};
use super::{job, request_id};
use crate::args::pull::SubmitArgs;
use crate::client::{ANSWER_BYTES_MAX, Server};
use crate::context::Context;
use crate::failure::Failure;
use crate::json::pull::PullsJson;
use crate::name::short;
use crate::render::pull::render_pull;

/// Sends the logs one after the other; stops at the first that fails, those before it recorded.
pub(crate) async fn submit(args: &SubmitArgs, context: &mut Context<'_>) -> Result<(), Failure> {
    let channel_map = match &args.channels {
        None => String::new(),
        Some(path) => tokio::fs::read_to_string(path)
            .await
            .map_err(|error| Failure::file("read the channel map", path, &error))?,
    };
    let server = context.server().await?;
    let axes = if context.is_json() {
        None
    } else {
        job::get(&server, &args.job.full).await?.axes
    };
    let mut pulls = Vec::new();
    let mut outcome = Ok(());
    for log in &args.logs {
        let open = opening(args, log, &channel_map);
        let draws_progress = context.draws_progress();
        match upload(&server, log, open, draws_progress).await {
            Ok(pull) => {
                show(&pull, axes.as_ref(), !pulls.is_empty(), context)?;
                pulls.push(pull);
            }
            Err(failure) => {
                outcome = Err(stopped(failure, log, &pulls, args));
                break;
            }
        }
    }
    if context.is_json() && !pulls.is_empty() {
        let name = args.job.short();
        context.result(&PullsJson::new(&name, &pulls, true), |_| String::new())?;
    }
    if outcome.is_ok() && !args.check {
        context.tell(&format!("\nNext\n  baytrim propose {}", args.job.short()));
    }
    outcome
}

fn opening(args: &SubmitArgs, log: &Path, channel_map: &str) -> OpenUpload {
    let source_name = file_name(log);
    OpenUpload {
        parent: args.job.full.clone(),
        bay: args.bay.clone(),
        revision: args.revision.clone().unwrap_or_default(),
        source_name,
        channel_map: channel_map.to_owned(),
        request_id: request_id(),
        validate_only: args.check,
        stage: args.stage.clone().unwrap_or_default(),
        conditions: args.conditions.given(),
        mode: args.mode.clone().unwrap_or_default(),
        grip_revision: args.grip_revision.clone().unwrap_or_default(),
    }
}

async fn upload(
    server: &Server,
    log: &Path,
    open: OpenUpload,
    draws_progress: bool,
) -> Result<Pull, Failure> {
    let wrapping = Wrapping {
        open: UploadPullRequest {
            message: Some(Message::Open(open)),
        },
        chunk: |bytes| UploadPullRequest {
            message: Some(Message::Chunk(bytes)),
        },
    };
    let answer = send(
        server,
        log,
        &wrapping,
        draws_progress,
        |channel, request| async move {
            PullServiceClient::new(channel)
                .max_decoding_message_size(ANSWER_BYTES_MAX)
                .upload_pull(request)
                .await
        },
    );
    answer
        .await?
        .pull
        .ok_or_else(|| Failure::incomplete("pull"))
}

fn show(
    pull: &Pull,
    axes: Option<&Axes>,
    is_later: bool,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    if context.is_json() {
        return Ok(());
    }
    let between = if is_later { "\n" } else { "" };
    let page = render_pull(pull, axes, &context.options());
    context.write(format!("{between}{page}").as_bytes())
}

/// What the server calls the channel map that is sent with a log.
const MAP_FIELD: &str = "open.channel_map";

/// Returns `failure` with the log that it befell and what had been recorded before it.
fn stopped(mut failure: Failure, log: &Path, pulls: &[Pull], args: &SubmitArgs) -> Failure {
    let log_name = log.display().to_string();
    let is_of_map = failure.message.starts_with(MAP_FIELD);
    if let Some(path) = args.channels.as_ref().filter(|_| is_of_map) {
        // What is wrong with the map is no fault of the log.
        failure = failure.in_file(MAP_FIELD, path);
    } else if !failure.message.contains(&log_name) {
        failure.message = format!("{log_name}: {}", failure.message);
    }
    if args.logs.len() > 1 && !args.check {
        let recorded: Vec<String> = pulls.iter().map(|pull| short(&pull.name)).collect();
        failure.message += &match recorded.as_slice() {
            [] => "; none of the logs was recorded".to_owned(),
            names => format!("; recorded before it: {}", names.join(", ")),
        };
    }
    failure
}
