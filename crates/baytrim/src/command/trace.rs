//! `baytrim trace`.

use baytrim_api::v1::TraceNodeRequest;
use baytrim_api::v1::correction_service_client::CorrectionServiceClient;

use crate::args::trace::TraceArgs;
use crate::client::{ANSWER_BYTES_MAX, COMPUTE};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::trace::TraceJson;
use crate::render::trace::render_trace;

/// Shows what is behind a node's number.
pub(crate) async fn run(args: &TraceArgs, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let request = TraceNodeRequest {
        name: args.subject.clone(),
        rpm: args.node.rpm,
        plate_percent: args.node.plate_percent,
        excluded_pulls: args.without.clone(),
        skip_logs: args.quick,
        point_count_max: 0,
    };
    let answer = server.ask(COMPUTE, request, |channel, request| async move {
        let client = CorrectionServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .trace_node(request)
            .await
    });
    let trace = answer
        .await?
        .trace
        .ok_or_else(|| Failure::incomplete("trace"))?;
    context.result(&TraceJson::from(&trace), |options| {
        render_trace(&trace, options)
    })?;
    Ok(Exit::Done)
}
