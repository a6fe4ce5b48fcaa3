//! Lays the power of pulls side by side.

use std::sync::Arc;

use baytrim_api::v1::power_service_server::PowerService;
use baytrim_api::v1::{GetPowerRequest, GetPowerResponse};
use baytrim_jobs::power_comparison::side_by_side;
use tonic::{Request, Response, Status};

use crate::compute::blocking;
use crate::convert::{name, power};
use crate::fault::Fault;
use crate::shop::Shop;

/// The power service.
#[derive(Debug, Clone)]
pub struct Power {
    shop: Arc<Shop>,
}

impl Power {
    /// Returns the service over `shop`.
    pub fn new(shop: Arc<Shop>) -> Self {
        Self { shop }
    }
}

#[tonic::async_trait]
impl PowerService for Power {
    async fn get_power(
        &self,
        request: Request<GetPowerRequest>,
    ) -> Result<Response<GetPowerResponse>, Status> {
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        Ok(Response::new(blocking(move || get(&shop, &request)).await?))
    }
}

fn get(shop: &Shop, request: &GetPowerRequest) -> Result<GetPowerResponse, Fault> {
    let id = name::parse_job("name", &request.name)?;
    let standard = power::asked(request.standard)?;
    let pulls = power::pulls(&request.pulls)?;
    let job = shop.job(&id)?;
    let found = side_by_side(&job.state, &pulls, standard)?;
    Ok(GetPowerResponse {
        comparison: Some(power::comparison(&job.state, &found)),
    })
}
