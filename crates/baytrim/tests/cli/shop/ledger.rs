//! The ledger.

use baytrim_api::v1::ledger_service_server::LedgerService;
use baytrim_api::v1::{
    ListRecordsRequest, ListRecordsResponse, VerifyLedgerRequest, VerifyLedgerResponse,
};
use tonic::{Request, Response, Status};

use super::Shop;
use crate::answers;

#[tonic::async_trait]
impl LedgerService for Shop {
    async fn list_records(
        &self,
        request: Request<ListRecordsRequest>,
    ) -> Result<Response<ListRecordsResponse>, Status> {
        self.enter(&request).await?;
        let records = (0..3).map(answers::record).collect();
        Ok(Response::new(ListRecordsResponse {
            records,
            next_page_token: String::new(),
        }))
    }

    /// A ledger that does not hold: the case that must not be overlooked.
    async fn verify_ledger(
        &self,
        request: Request<VerifyLedgerRequest>,
    ) -> Result<Response<VerifyLedgerResponse>, Status> {
        self.enter(&request).await?;
        Ok(Response::new(VerifyLedgerResponse {
            intact: false,
            stream_count: 2,
            record_count: 41,
            blob_count: 9,
            first_fault: "job quoll-1, record 3: its seal does not fit its bytes".to_owned(),
            ledger_head: "ab".repeat(32),
        }))
    }
}
