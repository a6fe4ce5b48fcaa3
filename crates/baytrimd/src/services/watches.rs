//! Tells what happens while it happens.

mod line;
mod proposals;
mod records;

use std::sync::Arc;

use baytrim_api::v1::watch_service_server::WatchService;
use baytrim_api::v1::{
    WatchProposalsRequest, WatchProposalsResponse, WatchRecordsRequest, WatchRecordsResponse,
};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc, watch};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};

use crate::ending::Ending;
use crate::fault::Fault;
use crate::limits::{STREAM_QUEUE_MAX, WATCHES_MAX};
use crate::shop::Shop;

use line::Line;

/// The watch service.
#[derive(Debug, Clone)]
pub struct Watches {
    shop: Arc<Shop>,
    room: Arc<Semaphore>,
    stop: watch::Receiver<bool>,
}

impl Watches {
    /// Returns the service over `shop`; its streams end when `stop` turns true.
    pub fn new(shop: Arc<Shop>, stop: watch::Receiver<bool>) -> Self {
        Self {
            shop,
            room: Arc::new(Semaphore::new(WATCHES_MAX)),
            stop,
        }
    }

    fn room(&self) -> Result<OwnedSemaphorePermit, Fault> {
        let room = Arc::clone(&self.room).try_acquire_owned();
        room.map_err(|_| Fault::Busy {
            what: "watches",
            max: WATCHES_MAX,
        })
    }
}

/// Returns a line to a new reader, and what the reader hears.
fn line<T>(shop: &Shop, ending: Ending) -> (Line<T>, ReceiverStream<Result<T, Status>>) {
    let (answers, receiver) = mpsc::channel(STREAM_QUEUE_MAX);
    // It listens before anything is read, so that nothing falls between.
    let line = Line::new(shop.news().listen(), ending, answers);
    (line, ReceiverStream::new(receiver))
}

/// Returns what a reader within the daemon hears of proposals that wait; it knows of `known_proposals` already.
///
/// # Errors
/// When there are no such proposals, or too many.
pub(crate) async fn hear_proposals(
    shop: &Arc<Shop>,
    known_proposals: Vec<String>,
    stopped: &watch::Receiver<bool>,
) -> Result<ReceiverStream<Result<WatchProposalsResponse, Status>>, Fault> {
    let (mut line, heard) = line(shop, Ending::with(stopped));
    let watch = proposals::Watch::open(shop, &WatchProposalsRequest { known_proposals }).await?;
    tokio::spawn(async move {
        let ended = watch.run(&mut line).await;
        line.end(ended).await;
    });
    Ok(heard)
}

#[tonic::async_trait]
impl WatchService for Watches {
    type WatchRecordsStream = ReceiverStream<Result<WatchRecordsResponse, Status>>;
    type WatchProposalsStream = ReceiverStream<Result<WatchProposalsResponse, Status>>;

    async fn watch_records(
        &self,
        request: Request<WatchRecordsRequest>,
    ) -> Result<Response<Self::WatchRecordsStream>, Status> {
        let room = self.room()?;
        let (mut line, heard) = line(&self.shop, Ending::of(&request, &self.stop));
        let watch = records::Watch::open(&self.shop, request.get_ref()).await?;
        tokio::spawn(async move {
            let ended = watch.run(&mut line).await;
            line.end(ended).await;
            drop(room);
        });
        Ok(Response::new(heard))
    }

    async fn watch_proposals(
        &self,
        request: Request<WatchProposalsRequest>,
    ) -> Result<Response<Self::WatchProposalsStream>, Status> {
        let room = self.room()?;
        let (mut line, heard) = line(&self.shop, Ending::of(&request, &self.stop));
        let watch = proposals::Watch::open(&self.shop, request.get_ref()).await?;
        tokio::spawn(async move {
            let ended = watch.run(&mut line).await;
            line.end(ended).await;
            drop(room);
        });
        Ok(Response::new(heard))
    }
}
