//! `baytrim grip …`.

use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::{GetDeliveryRequest, ModeDelivery};

use super::proposal;
use crate::args::grip::{GripCommand, GripShowArgs};
use crate::client::{ANSWER_BYTES_MAX, QUICK};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::grip::DeliveryJson;
use crate::render::grip::render_delivery;

/// Does what `command` asks.
pub(crate) async fn run(command: &GripCommand, context: &mut Context<'_>) -> Result<Exit, Failure> {
    match command {
        GripCommand::Show(args) => show(args, context).await,
        GripCommand::Propose(args) => proposal::propose(&args.propose, &args.mode, context).await,
    }
}

async fn show(args: &GripShowArgs, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let request = GetDeliveryRequest {
        name: format!("{}/delivery", args.job.full),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = CorrectionServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .get_delivery(request)
            .await
    });
    let wanted = |mode: &ModeDelivery| args.mode.as_ref().is_none_or(|name| *name == mode.mode);
    let modes: Vec<ModeDelivery> = answer.await?.modes.into_iter().filter(wanted).collect();
    let job = args.job.short();
    context.result(&DeliveryJson::new(&job, &modes), |options| {
        render_delivery(&job, &modes, options)
    })?;
    Ok(Exit::Done)
}
