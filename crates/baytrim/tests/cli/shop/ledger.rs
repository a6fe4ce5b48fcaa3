//! The ledger.

use baytrim_api::v1::ledger_service_server::LedgerService;
use baytrim_api::v1::{
    BackUpLedgerRequest, BackUpLedgerResponse, CreateCheckpointRequest, CreateCheckpointResponse,
    ExportJobRequest, ExportJobResponse, GetCheckpointProofRequest, GetCheckpointProofResponse,
    ImportJobRequest, ImportJobResponse, ListRecordsRequest, ListRecordsResponse,
    VerifyLedgerRequest, VerifyLedgerResponse, back_up_ledger_response,
};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status, Streaming};

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

    type ExportJobStream = ReceiverStream<Result<ExportJobResponse, Status>>;

    async fn export_job(
        &self,
        _request: Request<ExportJobRequest>,
    ) -> Result<Response<Self::ExportJobStream>, Status> {
        Err(Status::unimplemented(
            "archives are tested against the real daemon",
        ))
    }

    async fn import_job(
        &self,
        _request: Request<Streaming<ImportJobRequest>>,
    ) -> Result<Response<ImportJobResponse>, Status> {
        Err(Status::unimplemented(
            "archives are tested against the real daemon",
        ))
    }

    type BackUpLedgerStream = ReceiverStream<Result<BackUpLedgerResponse, Status>>;

    /// A connection that is cut in the middle of a backup.
    async fn back_up_ledger(
        &self,
        request: Request<BackUpLedgerRequest>,
    ) -> Result<Response<Self::BackUpLedgerStream>, Status> {
        self.enter(&request).await?;
        let (sender, receiver) = tokio::sync::mpsc::channel(2);
        let chunk = back_up_ledger_response::Message::Chunk(vec![7; 1000]);
        let message = Some(chunk);
        let _ = sender.send(Ok(BackUpLedgerResponse { message })).await;
        Ok(Response::new(ReceiverStream::new(receiver)))
    }

    async fn create_checkpoint(
        &self,
        _request: Request<CreateCheckpointRequest>,
    ) -> Result<Response<CreateCheckpointResponse>, Status> {
        Err(Status::unimplemented(
            "checkpoints are tested against the real daemon",
        ))
    }

    async fn get_checkpoint_proof(
        &self,
        _request: Request<GetCheckpointProofRequest>,
    ) -> Result<Response<GetCheckpointProofResponse>, Status> {
        Err(Status::unimplemented(
            "checkpoints are tested against the real daemon",
        ))
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
            ..VerifyLedgerResponse::default()
        }))
    }
}
