//! `baytrim shop`.

use baytrim_api::v1::GetShopViewRequest;
use baytrim_api::v1::job_service_client::JobServiceClient;

use crate::client::{ANSWER_BYTES_MAX, QUICK};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::shop::ShopJson;
use crate::render::shop::render_shop;

/// Shows the shop at a glance.
pub(crate) async fn run(
    done_days: Option<u16>,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    let server = context.server().await?;
    let request = GetShopViewRequest {
        done_days: done_days.unwrap_or_default().into(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = JobServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .get_shop_view(request)
            .await
    });
    let view = answer.await?;
    context.result(&ShopJson::from(&view), |options| {
        render_shop(&view, options)
    })?;
    Ok(Exit::Done)
}
