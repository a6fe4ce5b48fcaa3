//! Says how the daemon itself is.

use std::sync::Arc;
use std::time::Duration;

use baytrim_api::v1::daemon_service_server::DaemonService;
use baytrim_api::v1::{GetStatusRequest, GetStatusResponse};
use baytrim_model::ids::UnixMillis;
use tonic::{Request, Response, Status};

use crate::clock;
use crate::compute::blocking;
use crate::convert::time::timestamp;
use crate::fault::Fault;
use crate::shop::{JOB_PREFIX, Shop};

/// Names of streams that are read at once while jobs are counted.
const STREAMS_AT_ONCE: usize = 1000;

/// The service about the daemon.
#[derive(Debug, Clone)]
pub struct Daemon {
    shop: Arc<Shop>,
    began: UnixMillis,
    /// The same by a clock that nobody sets.
    began_after: Duration,
}

impl Daemon {
    /// Returns the service over `shop`, which begins to serve now.
    pub fn new(shop: Arc<Shop>) -> Self {
        Self {
            shop,
            began: clock::now(),
            began_after: clock::since_boot(),
        }
    }
}

#[tonic::async_trait]
impl DaemonService for Daemon {
    async fn get_status(
        &self,
        _request: Request<GetStatusRequest>,
    ) -> Result<Response<GetStatusResponse>, Status> {
        let shop = Arc::clone(&self.shop);
        let job_count = blocking(move || job_count(&shop)).await?;
        let (limits, metrics) = (self.shop.limits(), self.shop.metrics());
        let uptime = clock::since_boot().saturating_sub(self.began_after);
        Ok(Response::new(GetStatusResponse {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            start_time: Some(timestamp(self.began)),
            uptime_duration: prost_types::Duration::try_from(uptime).ok(),
            job_count,
            live_pull_count: metrics.live_pulls.get().unsigned_abs(),
            live_pull_count_max: limits.streams_max as u64,
            compute_running_count: metrics.compute_running.get().unsigned_abs(),
            compute_running_count_max: limits.compute_max as u64,
            compute_waiting_count: metrics.compute_waiting.get().unsigned_abs(),
            sample_count: metrics.samples.get(),
            failed_write_count: metrics.failed_writes(),
        }))
    }
}

fn job_count(shop: &Shop) -> Result<u64, Fault> {
    let mut count = 0;
    let mut last = None;
    loop {
        let streams = shop
            .store()
            .streams(JOB_PREFIX, last.as_ref(), STREAMS_AT_ONCE)?;
        count += streams.len() as u64;
        match streams.into_iter().next_back() {
            Some((stream, _)) => last = Some(stream),
            None => return Ok(count),
        }
    }
}
