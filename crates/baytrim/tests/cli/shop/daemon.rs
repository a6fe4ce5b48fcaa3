//! The server itself.

use baytrim_api::v1::daemon_service_server::DaemonService;
use baytrim_api::v1::{GetStatusRequest, GetStatusResponse};
use tonic::{Request, Response, Status};

use super::Shop;
use crate::answers;

#[tonic::async_trait]
impl DaemonService for Shop {
    async fn get_status(
        &self,
        request: Request<GetStatusRequest>,
    ) -> Result<Response<GetStatusResponse>, Status> {
        self.enter(&request).await?;
        Ok(Response::new(answers::status()))
    }
}
