//! Bays.

use baytrim_api::v1::bay_service_server::BayService;
use baytrim_api::v1::{
    Bay, ChannelMap, CreateSensorCheckRequest, CreateSensorCheckResponse, GetBayRequest,
    GetBayResponse, GetChannelMapRequest, GetChannelMapResponse, ListBaysRequest, ListBaysResponse,
    ListChannelMapsRequest, ListChannelMapsResponse, SetChannelMapRequest, SetChannelMapResponse,
};
use tonic::{Request, Response, Status};

use super::Shop;
use crate::answers::bays::{bay, channel_map};

#[tonic::async_trait]
impl BayService for Shop {
    async fn set_channel_map(
        &self,
        request: Request<SetChannelMapRequest>,
    ) -> Result<Response<SetChannelMapResponse>, Status> {
        self.enter(&request).await?;
        let request = request.into_inner();
        let name = if request.validate_only {
            String::new()
        } else {
            "bays/east/maps/m1".to_owned()
        };
        let text = request.text.clone();
        self.with(|seen| seen.maps.push(request));
        let channel_map = Some(ChannelMap {
            name,
            text,
            ..channel_map()
        });
        Ok(Response::new(SetChannelMapResponse { channel_map }))
    }

    async fn create_sensor_check(
        &self,
        request: Request<CreateSensorCheckRequest>,
    ) -> Result<Response<CreateSensorCheckResponse>, Status> {
        self.enter(&request).await?;
        self.with(|seen| seen.sensor_checks.push(request.into_inner()));
        let bay = Some(bay());
        Ok(Response::new(CreateSensorCheckResponse { bay }))
    }

    async fn get_channel_map(
        &self,
        request: Request<GetChannelMapRequest>,
    ) -> Result<Response<GetChannelMapResponse>, Status> {
        self.enter(&request).await?;
        let name = request.into_inner().name.replace("/-", "/m2");
        let channel_map = Some(ChannelMap {
            name,
            ..channel_map()
        });
        Ok(Response::new(GetChannelMapResponse { channel_map }))
    }

    async fn list_channel_maps(
        &self,
        request: Request<ListChannelMapsRequest>,
    ) -> Result<Response<ListChannelMapsResponse>, Status> {
        self.enter(&request).await?;
        let channel_maps = match request.into_inner().parent.as_str() {
            "bays/east" => vec![ChannelMap {
                text: String::new(),
                ..channel_map()
            }],
            _ => Vec::new(),
        };
        Ok(Response::new(ListChannelMapsResponse {
            channel_maps,
            next_page_token: String::new(),
        }))
    }

    async fn get_bay(
        &self,
        request: Request<GetBayRequest>,
    ) -> Result<Response<GetBayResponse>, Status> {
        self.enter(&request).await?;
        let bay = Some(Bay {
            name: request.into_inner().name,
            ..bay()
        });
        Ok(Response::new(GetBayResponse { bay }))
    }

    async fn list_bays(
        &self,
        request: Request<ListBaysRequest>,
    ) -> Result<Response<ListBaysResponse>, Status> {
        self.enter(&request).await?;
        let bays = vec![bay()];
        Ok(Response::new(ListBaysResponse {
            bays,
            next_page_token: String::new(),
        }))
    }
}
