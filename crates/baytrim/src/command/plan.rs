//! `baytrim plan`.

use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::{PlanPullRequest, UseMap};

use crate::args::plan::{PlanArgs, Use};
use crate::client::{ANSWER_BYTES_MAX, COMPUTE};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::plan::PlanJson;
use crate::render::plan::render_plan;

/// Plans the next pull.
pub(crate) async fn run(args: &PlanArgs, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let use_map = match args.use_map {
        None => UseMap::Visited,
        Some(Use::Street) => UseMap::Street,
        Some(Use::Track) => UseMap::Track,
        Some(Use::WideOpen) => UseMap::WideOpen,
    };
    let request = PlanPullRequest {
        parent: args.job.full.clone(),
        use_map: use_map.into(),
        use_values: Vec::new(),
        plan_s_max: args.seconds.unwrap_or_default(),
        tolerance_percent: args.tolerance.unwrap_or_default(),
        excluded_pulls: args.without.clone(),
    };
    let answer = server.ask(COMPUTE, request, |channel, request| async move {
        let client = CorrectionServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .plan_pull(request)
            .await
    });
    let plan = answer
        .await?
        .plan
        .ok_or_else(|| Failure::incomplete("plan"))?;
    let job = args.job.short();
    context.result(&PlanJson::new(&plan, &job), |options| {
        render_plan(&plan, &job, options)
    })?;
    Ok(Exit::Done)
}
