//! Takes pulls, live or as finished logs, and reads them.

use std::sync::Arc;

use baytrim_api::v1::pull_service_server::PullService;
use baytrim_api::v1::{
    GetPullRequest, GetPullResponse, ListPullsRequest, ListPullsResponse, StreamPullRequest,
    StreamPullResponse, SuggestChannelsRequest, SuggestChannelsResponse, UploadPullRequest,
    UploadPullResponse,
};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc, watch};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status, Streaming};

use super::{suggest, upload};
use crate::compute::blocking;
use crate::convert::page::Page;
use crate::convert::{name, pull, request};
use crate::ending::Ending;
use crate::fault::Fault;
use crate::limits::STREAM_QUEUE_MAX;
use crate::live::{self, Streams};
use crate::shop::Shop;

/// The pull service.
#[derive(Debug, Clone)]
pub struct Pulls {
    shop: Arc<Shop>,
    streams: Streams,
    uploads: Arc<Semaphore>,
    stop: watch::Receiver<bool>,
}

impl Pulls {
    /// Returns the service over `shop`; its streams end when `stop` turns true.
    pub fn new(shop: Arc<Shop>, stop: watch::Receiver<bool>) -> Self {
        Self {
            streams: Streams::new(shop.limits().streams_max),
            uploads: Arc::new(Semaphore::new(shop.limits().uploads_max)),
            shop,
            stop,
        }
    }

    /// Returns room for one more file that comes in.
    fn room(&self) -> Result<OwnedSemaphorePermit, Fault> {
        let room = Arc::clone(&self.uploads).try_acquire_owned();
        room.map_err(|_| Fault::Busy {
            what: "uploads",
            max: self.shop.limits().uploads_max,
        })
    }
}

#[tonic::async_trait]
impl PullService for Pulls {
    type StreamPullStream = ReceiverStream<Result<StreamPullResponse, Status>>;

    async fn stream_pull(
        &self,
        request: Request<Streaming<StreamPullRequest>>,
    ) -> Result<Response<Self::StreamPullStream>, Status> {
        let by = request::submitter(&request);
        let (answers, receiver) = mpsc::channel(STREAM_QUEUE_MAX);
        let (shop, streams) = (Arc::clone(&self.shop), self.streams.clone());
        let ending = Ending::of(&request, &self.stop);
        let inbound = request.into_inner();
        tokio::spawn(live::run(shop, streams, ending, by, inbound, answers));
        Ok(Response::new(ReceiverStream::new(receiver)))
    }

    async fn upload_pull(
        &self,
        request: Request<Streaming<UploadPullRequest>>,
    ) -> Result<Response<UploadPullResponse>, Status> {
        let by = request::submitter(&request);
        let _room = self.room()?;
        let (shop, ending) = (Arc::clone(&self.shop), Ending::of(&request, &self.stop));
        let pull = upload::take(shop, ending, by, request.into_inner()).await?;
        Ok(Response::new(UploadPullResponse { pull: Some(pull) }))
    }

    async fn suggest_channels(
        &self,
        request: Request<Streaming<SuggestChannelsRequest>>,
    ) -> Result<Response<SuggestChannelsResponse>, Status> {
        let _room = self.room()?;
        let (shop, ending) = (Arc::clone(&self.shop), Ending::of(&request, &self.stop));
        let answer = suggest::answer(shop, ending, request.into_inner()).await?;
        Ok(Response::new(answer))
    }

    async fn get_pull(
        &self,
        request: Request<GetPullRequest>,
    ) -> Result<Response<GetPullResponse>, Status> {
        let parsed = name::parse_pull("name", &request.get_ref().name);
        let (id, number) = parsed.map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let pull = blocking(move || {
            let job = shop.job(&id)?;
            Ok(pull::whole(&job.state, job.state.pull(number)?))
        });
        let pull = Some(pull.await?);
        Ok(Response::new(GetPullResponse { pull }))
    }

    async fn list_pulls(
        &self,
        request: Request<ListPullsRequest>,
    ) -> Result<Response<ListPullsResponse>, Status> {
        let request = request.get_ref();
        let id = name::parse_job("parent", &request.parent).map_err(Fault::from)?;
        let list = format!("pulls of {id}");
        let page = Page::parse(&list, request.page_size, &request.page_token);
        let (page, shop) = (page.map_err(Fault::from)?, Arc::clone(&self.shop));
        let job = blocking(move || shop.job(&id)).await?;
        let key = |pull: &&baytrim_jobs::state::PullEntry| pull.record.id.to_string();
        let (pulls, next_page_token) = page.cut(job.state.pulls.iter(), key);
        Ok(Response::new(ListPullsResponse {
            pulls: pulls
                .iter()
                .map(|entry| pull::brief(&job.state, entry))
                .collect(),
            next_page_token,
        }))
    }
}
