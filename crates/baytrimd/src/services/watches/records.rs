//! The records of one job or bay as they come.

use std::sync::Arc;

use baytrim_api::v1::{WatchRecordsRequest, WatchRecordsResponse};
use baytrim_jobs::Refusal;
use baytrim_ledger::StreamName;

use super::line::{End, Line, Woken};
use crate::compute::blocking;
use crate::fault::Fault;
use crate::services::ledger::Parent;
use crate::shop::Shop;

/// Records that are read at a time.
const READ_RECORDS: usize = 64;

/// A watch of one job's or bay's records.
pub(super) struct Watch {
    shop: Arc<Shop>,
    parent: Arc<Parent>,
    stream: StreamName,
    next: u64,
}

impl Watch {
    /// Returns the watch that `request` asks for.
    ///
    /// # Errors
    /// When there is no such job, or it has fewer records than the caller says.
    pub(super) async fn open(
        shop: &Arc<Shop>,
        request: &WatchRecordsRequest,
    ) -> Result<Self, Fault> {
        let parent = Arc::new(Parent::parse(&request.parent)?);
        let watch = Self {
            shop: Arc::clone(shop),
            stream: parent.stream(),
            parent,
            next: request.start_sequence_number,
        };
        let (shop, stream) = (Arc::clone(shop), watch.stream.clone());
        let head = blocking(move || Ok(shop.store().head(&stream)?)).await?;
        if head.next_seq == 0 {
            watch.parent.empty()?;
        }
        if watch.next > head.next_seq {
            let count = head.next_seq;
            return Err(Refusal::field(
                "start_sequence_number",
                format!("is {}, but there are {count} records", watch.next),
                "the ledger may have been put back from a backup; begin from 0",
            )
            .into());
        }
        Ok(watch)
    }

    /// Tells records until something ends it.
    pub(super) async fn run(mut self, line: &mut Line<WatchRecordsResponse>) -> Result<(), End> {
        self.catch_up(line).await?;
        self.beat(line).await?;
        loop {
            match line.woken().await? {
                Woken::News(stream) if stream != self.stream => {}
                Woken::News(_) | Woken::Look => self.catch_up(line).await?,
                Woken::Beat => self.beat(line).await?,
            }
        }
    }

    async fn catch_up(&mut self, line: &mut Line<WatchRecordsResponse>) -> Result<(), End> {
        loop {
            let (shop, parent) = (Arc::clone(&self.shop), Arc::clone(&self.parent));
            let (stream, from) = (self.stream.clone(), self.next);
            let told = blocking(move || {
                let found = shop.store().read(&stream, from, READ_RECORDS)?;
                let told = found.iter().map(|entry| parent.tell(entry, false));
                Ok(told.collect::<Result<Vec<_>, _>>()?)
            });
            let told = told.await?;
            if told.is_empty() {
                return Ok(());
            }
            for record in told {
                self.next = record.sequence_number + 1;
                let answer = WatchRecordsResponse {
                    record: Some(record),
                    next_sequence_number: self.next,
                };
                line.tell(answer).await?;
            }
        }
    }

    async fn beat(&self, line: &mut Line<WatchRecordsResponse>) -> Result<(), End> {
        let answer = WatchRecordsResponse {
            record: None,
            next_sequence_number: self.next,
        };
        line.tell(answer).await
    }
}
