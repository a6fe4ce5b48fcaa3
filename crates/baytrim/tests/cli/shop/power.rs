//! Power, as the shop tells it.

use baytrim_api::v1::power_service_server::PowerService;
use baytrim_api::v1::{GetPowerRequest, GetPowerResponse};
use tonic::{Request, Response, Status};

use super::Shop;
use crate::answers;

#[tonic::async_trait]
impl PowerService for Shop {
    async fn get_power(
        &self,
        request: Request<GetPowerRequest>,
    ) -> Result<Response<GetPowerResponse>, Status> {
        self.enter(&request).await?;
        self.with(|seen| seen.powers.push(request.into_inner()));
        Ok(Response::new(GetPowerResponse {
            comparison: Some(answers::power::power()),
        }))
    }
}
