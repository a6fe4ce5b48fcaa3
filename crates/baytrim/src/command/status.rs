//! `baytrim status`.

use baytrim_api::v1::GetStatusRequest;
use baytrim_api::v1::daemon_service_client::DaemonServiceClient;

use crate::client::QUICK;
use crate::context::Context;
use crate::failure::Failure;
use crate::json::status::StatusJson;
use crate::render::status::render_status;

/// Asks the server how it is, and shows it.
pub(crate) async fn run(context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let url = server.url().to_owned();
    let answer = server.ask(QUICK, GetStatusRequest {}, |channel, request| async move {
        DaemonServiceClient::new(channel).get_status(request).await
    });
    let status = answer.await?;
    let value = StatusJson::new(&url, &status);
    context.result(&value, |options| render_status(&url, &status, options))
}
