//! `baytrim plan`.

use std::path::Path;

use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::{PlanPullRequest, UseMap};

use super::job;
use crate::args::plan::{PlanArgs, Use};
use crate::client::{ANSWER_BYTES_MAX, COMPUTE, Server};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::plan::PlanJson;
use crate::name::JobName;
use crate::render::plan::render_plan;
use crate::use_map;

/// Returns the weights of the nodes of `job` that a file holds.
async fn own_use(path: &Path, job: &JobName, server: &Server) -> Result<Vec<f64>, Failure> {
    let text = tokio::fs::read_to_string(path).await;
    let text = text.map_err(|error| Failure::file("read", path, &error))?;
    let axes = job::get(server, &job.full).await?.axes;
    let axes = axes.ok_or_else(|| Failure::incomplete("job"))?;
    use_map::parse(&text, &axes).map_err(|problem| {
        let message = format!("{}: {problem}", path.display());
        Failure::local(Exit::Failed, "USE_MAP_INVALID", message)
    })
}

/// Plans the next pull.
pub(crate) async fn run(args: &PlanArgs, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let use_map = match args.use_map {
        None if args.use_map_file.is_some() => UseMap::Unspecified,
        None => UseMap::Visited,
        Some(Use::Street) => UseMap::Street,
        Some(Use::Track) => UseMap::Track,
        Some(Use::WideOpen) => UseMap::WideOpen,
    };
    let use_values = match &args.use_map_file {
        Some(path) => own_use(path, &args.job, &server).await?,
        None => Vec::new(),
    };
    let request = PlanPullRequest {
        parent: args.job.full.clone(),
        use_map: use_map.into(),
        use_values,
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
