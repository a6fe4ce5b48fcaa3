//! `baytrim power`.

use baytrim_api::v1::power_service_client::PowerServiceClient;
use baytrim_api::v1::{GetPowerRequest, PowerStandard};

use crate::args::power::{PowerArgs, Standard};
use crate::client::{ANSWER_BYTES_MAX, QUICK};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::power::ComparisonJson;
use crate::render::power::render_power;

/// Shows the power of pulls side by side.
pub(crate) async fn run(args: &PowerArgs, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let standard = args
        .standard
        .map_or(PowerStandard::Unspecified, Standard::on_wire);
    let request = GetPowerRequest {
        name: args.job.full.clone(),
        pulls: args.pulls.clone(),
        standard: standard.into(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = PowerServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .get_power(request)
            .await
    });
    let found = answer
        .await?
        .comparison
        .ok_or_else(|| Failure::incomplete("power"))?;
    let job = args.job.short();
    context.result(&ComparisonJson::new(&found, &job), |options| {
        render_power(&found, &job, options)
    })?;
    Ok(Exit::Done)
}
