//! Reads the ledger and proves it.

use std::sync::Arc;

use baytrim_api::v1::ledger_service_server::LedgerService;
use baytrim_api::v1::{
    ListRecordsRequest, ListRecordsResponse, VerifyLedgerRequest, VerifyLedgerResponse,
};
use baytrim_jobs::{Refusal, codec};
use baytrim_model::ids::JobId;
use tonic::{Request, Response, Status};

use crate::compute::blocking;
use crate::convert::page::Page;
use crate::convert::{name, record};
use crate::fault::{Fault, InternalFault};
use crate::ledger_check;
use crate::limits::PAGE_BODY_BYTES_MAX;
use crate::shop::{Shop, stream_of};

/// The ledger service.
#[derive(Debug, Clone)]
pub struct Ledger {
    shop: Arc<Shop>,
}

impl Ledger {
    /// Returns the service over `shop`.
    pub fn new(shop: Arc<Shop>) -> Self {
        Self { shop }
    }
}

#[tonic::async_trait]
impl LedgerService for Ledger {
    async fn list_records(
        &self,
        request: Request<ListRecordsRequest>,
    ) -> Result<Response<ListRecordsResponse>, Status> {
        let request = request.get_ref();
        let id = name::parse_job("parent", &request.parent).map_err(Fault::from)?;
        let list = format!("records of {id}");
        let page = Page::parse(&list, request.page_size, &request.page_token);
        let (page, shop) = (page.map_err(Fault::from)?, Arc::clone(&self.shop));
        let with_bodies = request.with_bodies;
        let listed = blocking(move || records(&shop, &id, &page, with_bodies));
        Ok(Response::new(listed.await?))
    }

    async fn verify_ledger(
        &self,
        _request: Request<VerifyLedgerRequest>,
    ) -> Result<Response<VerifyLedgerResponse>, Status> {
        let shop = Arc::clone(&self.shop);
        let check = self.shop.compute().run(move || {
            let check = ledger_check::check(&**shop.store(), &mut |_| ())?;
            Ok(check)
        });
        let check = check.await?;
        Ok(Response::new(VerifyLedgerResponse {
            intact: check.first_fault.is_none(),
            stream_count: check.report.stream_count,
            record_count: check.report.record_count,
            blob_count: check.report.blob_count,
            first_fault: check.first_fault.unwrap_or_default(),
            ledger_head: check.ledger_head.to_string(),
        }))
    }
}

fn records(
    shop: &Shop,
    id: &JobId,
    page: &Page,
    with_bodies: bool,
) -> Result<ListRecordsResponse, Fault> {
    let stream = stream_of(id);
    let from = match &page.after {
        None => 0,
        Some(last) => last.parse::<u64>().map_or(0, |last| last.saturating_add(1)),
    };
    let head = shop.store().head(&stream)?;
    if head.next_seq == 0 {
        return Err(Refusal::JobUnknown(id.to_string()).into());
    }
    let found = shop.store().read(&stream, from, page.size)?;
    let mut records = Vec::with_capacity(found.len());
    let mut bytes = 0;
    for entry in &found {
        bytes += if with_bodies { entry.body.len() } else { 0 };
        if bytes > PAGE_BODY_BYTES_MAX && !records.is_empty() {
            break;
        }
        let decoded = codec::decode(&entry.body).map_err(|source| InternalFault::Record {
            stream: stream.to_string(),
            seq: entry.seq,
            source,
        })?;
        records.push(record::record(entry, &decoded, with_bodies));
    }
    let next_page_token = match records.last() {
        Some(last) if last.sequence_number + 1 < head.next_seq => {
            page.token_after(&last.sequence_number.to_string())
        }
        _ => String::new(),
    };
    Ok(ListRecordsResponse {
        records,
        next_page_token,
    })
}
