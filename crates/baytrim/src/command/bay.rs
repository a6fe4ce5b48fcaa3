//! `baytrim bay …`.

use baytrim_api::v1::bay_service_client::BayServiceClient;
use baytrim_api::v1::{Bay, CreateSensorCheckRequest, GetBayRequest};

use super::request_id;
use crate::args::channels::BayCommand;
use crate::client::QUICK;
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::bay::BayPageJson;
use crate::name::BayName;
use crate::render::bay::render_bay;

/// Does what `command` asks.
pub(crate) async fn run(command: &BayCommand, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let bay = match command {
        BayCommand::Show(arg) => get(&arg.bay, context).await?,
        BayCommand::Check { bay, oxygen, notes } => {
            check(&bay.bay, *oxygen, notes.as_deref(), context).await?
        }
    };
    let bay = bay.ok_or_else(|| Failure::incomplete("bay"))?;
    context.result(&BayPageJson::from(&bay), |options| {
        render_bay(&bay, options)
    })?;
    Ok(Exit::Done)
}

async fn get(bay: &BayName, context: &Context<'_>) -> Result<Option<Bay>, Failure> {
    let server = context.server().await?;
    let request = GetBayRequest {
        name: bay.full.clone(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        BayServiceClient::new(channel).get_bay(request).await
    });
    Ok(answer.await?.bay)
}

async fn check(
    bay: &BayName,
    oxygen_percent: f64,
    notes: Option<&str>,
    context: &Context<'_>,
) -> Result<Option<Bay>, Failure> {
    let server = context.server().await?;
    let request = CreateSensorCheckRequest {
        parent: bay.full.clone(),
        oxygen_percent,
        notes: notes.unwrap_or_default().to_owned(),
        request_id: request_id(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        BayServiceClient::new(channel)
            .create_sensor_check(request)
            .await
    });
    Ok(answer.await?.bay)
}
