//! `baytrim bay …`.

use baytrim_api::v1::GetBayRequest;
use baytrim_api::v1::bay_service_client::BayServiceClient;

use crate::args::channels::BayCommand;
use crate::client::QUICK;
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::bay::BayPageJson;
use crate::render::bay::render_bay;

/// Does what `command` asks.
pub(crate) async fn run(command: &BayCommand, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let BayCommand::Show(arg) = command;
    let server = context.server().await?;
    let request = GetBayRequest {
        name: arg.bay.full.clone(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        BayServiceClient::new(channel).get_bay(request).await
    });
    let bay = answer
        .await?
        .bay
        .ok_or_else(|| Failure::incomplete("bay"))?;
    context.result(&BayPageJson::from(&bay), |options| {
        render_bay(&bay, options)
    })?;
    Ok(Exit::Done)
}
