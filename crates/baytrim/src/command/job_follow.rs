//! `baytrim job follow`.

use baytrim_api::v1::watch_service_client::WatchServiceClient;
use baytrim_api::v1::{WatchRecordsRequest, WatchRecordsResponse};
use tonic::{Status, Streaming};

use super::follow::{Followed, endless, follow};
use crate::client::Server;
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::ledger::RecordJson;
use crate::name::JobName;
use crate::render::ledger::render_record;

/// The records of one job.
struct Records {
    parent: String,
    next: u64,
}

/// Prints the records of a job as they come.
pub(crate) async fn run(job: &JobName, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let parent = job.full.clone();
    follow(&mut Records { parent, next: 0 }, context).await
}

impl Followed for Records {
    type Answer = WatchRecordsResponse;

    async fn open(&self, server: &Server) -> Result<Streaming<WatchRecordsResponse>, Status> {
        let request = WatchRecordsRequest {
            parent: self.parent.clone(),
            start_sequence_number: self.next,
        };
        let mut client = WatchServiceClient::new(server.channel());
        let opened = client.watch_records(endless(server, request)).await?;
        Ok(opened.into_inner())
    }

    fn take(
        &mut self,
        answer: WatchRecordsResponse,
        context: &mut Context<'_>,
    ) -> Result<bool, Failure> {
        if let Some(record) = &answer.record {
            context.result(&RecordJson::from(record), |_| render_record(record))?;
        }
        self.next = answer.next_sequence_number;
        Ok(true)
    }
}
