//! Keeps what belongs to a bay and not to a job.

use std::sync::Arc;

use baytrim_api::v1::bay_service_server::BayService;
use baytrim_api::v1::{
    CreateSensorCheckRequest, CreateSensorCheckResponse, GetBayRequest, GetBayResponse,
    GetChannelMapRequest, GetChannelMapResponse, ListBaysRequest, ListBaysResponse,
    ListChannelMapsRequest, ListChannelMapsResponse, SetChannelMapRequest, SetChannelMapResponse,
};
use baytrim_intake::parse_channel_map;
use baytrim_jobs::bay::{BayOutcome, MapEntry, set_channel_map};
use baytrim_jobs::{Refusal, sensor_check};
use baytrim_model::channel::ChannelMap;
use baytrim_model::ids::{Actor, BayName};
use tonic::{Request, Response, Status};

use crate::clock;
use crate::compute::blocking;
use crate::convert::page::Page;
use crate::convert::{bay, name, request};
use crate::fault::{Fault, InternalFault};
use crate::shop::{BAY_PREFIX, Shop};

/// The bay service.
#[derive(Debug, Clone)]
pub struct Bays {
    shop: Arc<Shop>,
}

impl Bays {
    /// Returns the service over `shop`.
    pub fn new(shop: Arc<Shop>) -> Self {
        Self { shop }
    }
}

#[tonic::async_trait]
impl BayService for Bays {
    async fn set_channel_map(
        &self,
        request: Request<SetChannelMapRequest>,
    ) -> Result<Response<SetChannelMapResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        let set = blocking(move || set(&shop, by, &request));
        let channel_map = Some(set.await?);
        Ok(Response::new(SetChannelMapResponse { channel_map }))
    }

    async fn get_channel_map(
        &self,
        request: Request<GetChannelMapRequest>,
    ) -> Result<Response<GetChannelMapResponse>, Status> {
        let parsed = name::parse_channel_map("name", &request.get_ref().name);
        let (id, map) = parsed.map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let found = blocking(move || {
            let state = shop.bay(&id)?.state;
            Ok(bay::whole(&id, &state, state.map(&id, map)?))
        });
        let channel_map = Some(found.await?);
        Ok(Response::new(GetChannelMapResponse { channel_map }))
    }

    async fn list_channel_maps(
        &self,
        request: Request<ListChannelMapsRequest>,
    ) -> Result<Response<ListChannelMapsResponse>, Status> {
        let request = request.get_ref();
        let id = name::parse_bay("parent", &request.parent).map_err(Fault::from)?;
        let list = format!("channel maps of {id}");
        let page = Page::parse(&list, request.page_size, &request.page_token);
        let (page, shop) = (page.map_err(Fault::from)?, Arc::clone(&self.shop));
        let listed = blocking(move || {
            let state = shop.bay(&id)?.state;
            let key = |entry: &&MapEntry| entry.id.to_string();
            let (maps, next_page_token) = page.cut(state.maps.iter(), key);
            let maps = maps.into_iter().map(|map| bay::brief(&id, &state, map));
            Ok(ListChannelMapsResponse {
                channel_maps: maps.collect(),
                next_page_token,
            })
        });
        Ok(Response::new(listed.await?))
    }

    async fn get_bay(
        &self,
        request: Request<GetBayRequest>,
    ) -> Result<Response<GetBayResponse>, Status> {
        let id = name::parse_bay("name", &request.get_ref().name).map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let found = blocking(move || Ok(bay::bay(&id, &shop.bay(&id)?.state)));
        let bay = Some(found.await?);
        Ok(Response::new(GetBayResponse { bay }))
    }

    async fn create_sensor_check(
        &self,
        request: Request<CreateSensorCheckRequest>,
    ) -> Result<Response<CreateSensorCheckResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        let kept = blocking(move || keep_check(&shop, by, &request));
        let bay = Some(kept.await?);
        Ok(Response::new(CreateSensorCheckResponse { bay }))
    }

    async fn list_bays(
        &self,
        request: Request<ListBaysRequest>,
    ) -> Result<Response<ListBaysResponse>, Status> {
        let request = request.get_ref();
        let page = Page::parse("bays", request.page_size, &request.page_token);
        let (page, shop) = (page.map_err(Fault::from)?, Arc::clone(&self.shop));
        Ok(Response::new(blocking(move || list(&shop, &page)).await?))
    }
}

fn set(
    shop: &Shop,
    by: Actor,
    request: &SetChannelMapRequest,
) -> Result<baytrim_api::v1::ChannelMap, Fault> {
    let author = request::author(by, &request.request_id)?;
    let id = name::parse_bay("parent", &request.parent)?;
    let map = read(&request.text)?;
    if request.validate_only {
        let state = shop.bay(&id)?.state;
        set_channel_map(&id, &state, &map, &request.text, &request.reason)?;
        return Ok(bay::checked(&map, &request.text, &author.by, clock::now()));
    }
    let is_same = |outcome| matches!(outcome, BayOutcome::MapSet(_));
    let (decided, outcome) = shop.decide_bay(&id, &author, &is_same, |state| {
        let event = set_channel_map(&id, state, &map, &request.text, &request.reason);
        Ok(event?)
    })?;
    let BayOutcome::MapSet(number) = outcome else {
        return Err(InternalFault::Impossible(
            "a channel map was set, and another thing came of it",
        )
        .into());
    };
    let state = decided.state;
    Ok(bay::whole(&id, &state, state.map(&id, Some(number))?))
}

fn keep_check(
    shop: &Shop,
    by: Actor,
    request: &CreateSensorCheckRequest,
) -> Result<baytrim_api::v1::Bay, Fault> {
    let author = request::author(by, &request.request_id)?;
    let id = name::parse_bay("parent", &request.parent)?;
    let is_same = |outcome| outcome == BayOutcome::SensorChecked;
    let (decided, _) = shop.decide_bay(&id, &author, &is_same, |_| {
        Ok(sensor_check::event(request.oxygen_percent, &request.notes)?)
    })?;
    Ok(bay::bay(&id, &decided.state))
}

fn read(text: &str) -> Result<ChannelMap, Refusal> {
    parse_channel_map(text).map_err(|mut errors| {
        for error in &mut errors {
            error.field = format!("text, {}", error.field);
        }
        Refusal::Fields(errors)
    })
}

fn list(shop: &Shop, page: &Page) -> Result<ListBaysResponse, Fault> {
    let (ids, next_page_token) = shop.list::<BayName>(BAY_PREFIX, page)?;
    let bays = ids
        .iter()
        .map(|(id, _)| Ok(bay::bay(id, &shop.bay(id)?.state)));
    let bays = bays.collect::<Result<Vec<_>, Fault>>()?;
    Ok(ListBaysResponse {
        bays,
        next_page_token,
    })
}
