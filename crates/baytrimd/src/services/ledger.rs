//! Reads the ledger and proves it.

use std::sync::Arc;

use baytrim_api::v1;
use baytrim_api::v1::ledger_service_server::LedgerService;
use baytrim_api::v1::{
    BackUpLedgerRequest, BackUpLedgerResponse, CreateCheckpointRequest, CreateCheckpointResponse,
    ExportJobRequest, ExportJobResponse, GetCheckpointProofRequest, GetCheckpointProofResponse,
    ImportJobRequest, ImportJobResponse, ListRecordsRequest, ListRecordsResponse,
    VerifyLedgerRequest, VerifyLedgerResponse,
};
use baytrim_checkpoint::Signer;
use baytrim_jobs::Refusal;
use baytrim_ledger::{Hash, Record, StreamName};
use baytrim_model::ids::{BayName, JobId};
use tokio::sync::watch;
use tonic::{Request, Response, Status, Streaming};

use super::archives::{self, Sent};
use crate::carry;
use crate::checkpoints::{self, CheckpointFault};
use crate::clock;
use crate::compute::{Lane, blocking};
use crate::convert::page::Page;
use crate::convert::{checkpoint, name, record};
use crate::ending::Ending;
use crate::fault::{Fault, InternalFault};
use crate::ledger_check;
use crate::limits::PAGE_BODY_BYTES_MAX;
use crate::shop::{Shop, decode, stream_of, stream_of_bay};

/// The ledger service.
#[derive(Debug, Clone)]
pub struct Ledger {
    shop: Arc<Shop>,
    signer: Option<Arc<Signer>>,
    stop: watch::Receiver<bool>,
}

impl Ledger {
    /// Returns the service over `shop`; archives that come in end when `stop` turns true.
    pub fn new(shop: Arc<Shop>, signer: Option<Arc<Signer>>, stop: watch::Receiver<bool>) -> Self {
        Self { shop, signer, stop }
    }
}

#[tonic::async_trait]
impl LedgerService for Ledger {
    async fn list_records(
        &self,
        request: Request<ListRecordsRequest>,
    ) -> Result<Response<ListRecordsResponse>, Status> {
        let request = request.get_ref();
        let parent = Parent::parse(&request.parent).map_err(Fault::from)?;
        let list = format!("records of {}", parent.stream());
        let page = Page::parse(&list, request.page_size, &request.page_token);
        let (page, shop) = (page.map_err(Fault::from)?, Arc::clone(&self.shop));
        let with_bodies = request.with_bodies;
        let listed = blocking(move || records(&shop, &parent, &page, with_bodies));
        Ok(Response::new(listed.await?))
    }

    type ExportJobStream = Sent<ExportJobResponse>;

    async fn export_job(
        &self,
        request: Request<ExportJobRequest>,
    ) -> Result<Response<Self::ExportJobStream>, Status> {
        let id = name::parse_job("name", &request.get_ref().name).map_err(Fault::from)?;
        let ending = Ending::of(&request, &self.stop);
        let sent = archives::send(&self.shop, ending, move |shop| {
            carry::job_contents(shop, &id)
        });
        Ok(Response::new(sent))
    }

    async fn import_job(
        &self,
        request: Request<Streaming<ImportJobRequest>>,
    ) -> Result<Response<ImportJobResponse>, Status> {
        let (shop, ending) = (Arc::clone(&self.shop), Ending::of(&request, &self.stop));
        let taken = archives::take(shop, ending, request.into_inner());
        Ok(Response::new(taken.await?))
    }

    type BackUpLedgerStream = Sent<BackUpLedgerResponse>;

    async fn back_up_ledger(
        &self,
        request: Request<BackUpLedgerRequest>,
    ) -> Result<Response<Self::BackUpLedgerStream>, Status> {
        let contents = |shop: &Shop| carry::all_contents(&**shop.store());
        let ending = Ending::of(&request, &self.stop);
        Ok(Response::new(archives::send(&self.shop, ending, contents)))
    }

    async fn create_checkpoint(
        &self,
        _request: Request<CreateCheckpointRequest>,
    ) -> Result<Response<CreateCheckpointResponse>, Status> {
        let (shop, signer) = (Arc::clone(&self.shop), self.signer.clone());
        let made = self.shop.compute().run(Lane::Shop, move || {
            let signer = signer.ok_or(CheckpointFault::NoKey)?;
            let (sealed, created) = checkpoints::make(&**shop.store(), &signer, clock::now())?;
            let checkpoint = Some(checkpoint::whole(&sealed));
            Ok(CreateCheckpointResponse {
                checkpoint,
                created,
            })
        });
        Ok(Response::new(made.await?))
    }

    async fn get_checkpoint_proof(
        &self,
        request: Request<GetCheckpointProofRequest>,
    ) -> Result<Response<GetCheckpointProofResponse>, Status> {
        let request = request.into_inner();
        let id = name::parse_job("job", &request.job).map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let proof = self.shop.compute().run(Lane::of(&id), move || {
            shop.job(&id)?;
            let stream = stream_of(&id);
            let number = request.checkpoint_number;
            checkpoints::prove(&**shop.store(), stream.as_str(), id.as_str(), number)
        });
        let proof = proof.await?;
        Ok(Response::new(GetCheckpointProofResponse {
            content: proof.to_file().into_bytes(),
            record_count: proof.leaf.count,
            head: Hash(proof.leaf.head).to_string(),
        }))
    }

    async fn verify_ledger(
        &self,
        request: Request<VerifyLedgerRequest>,
    ) -> Result<Response<VerifyLedgerResponse>, Status> {
        let shop = Arc::clone(&self.shop);
        let elsewhere = request.into_inner().checkpoint;
        let check = self.shop.compute().run(Lane::Shop, move || {
            let store = &**shop.store();
            let mut check = ledger_check::check(store, &mut |_| ())?;
            if check.first_fault.is_none() && !elsewhere.is_empty() {
                check.first_fault = checkpoints::compare(store, &elsewhere, None)?;
            }
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
            checkpoint_count: check.checkpoint_count,
        }))
    }
}

/// Whose records are asked for.
pub(super) enum Parent {
    Job(JobId),
    Bay(BayName),
}

impl Parent {
    pub(super) fn parse(name: &str) -> Result<Self, Refusal> {
        if name.starts_with("bays/") {
            return name::parse_bay("parent", name).map(Self::Bay);
        }
        name::parse_job("parent", name).map(Self::Job)
    }

    pub(super) fn stream(&self) -> StreamName {
        match self {
            Self::Job(id) => stream_of(id),
            Self::Bay(id) => stream_of_bay(id),
        }
    }

    /// Returns what to say where there is no record; a bay without any is as good as any other.
    pub(super) fn empty(&self) -> Result<ListRecordsResponse, Fault> {
        match self {
            Self::Job(id) => Err(Refusal::JobUnknown(id.to_string()).into()),
            Self::Bay(_) => Ok(ListRecordsResponse::default()),
        }
    }

    pub(super) fn tell(
        &self,
        entry: &Record,
        with_body: bool,
    ) -> Result<v1::Record, InternalFault> {
        Ok(match self {
            Self::Job(_) => record::of_job(entry, &decode(entry)?, with_body),
            Self::Bay(_) => record::of_bay(entry, &decode(entry)?, with_body),
        })
    }
}

fn records(
    shop: &Shop,
    parent: &Parent,
    page: &Page,
    with_bodies: bool,
) -> Result<ListRecordsResponse, Fault> {
    let stream = parent.stream();
    let from = match &page.after {
        None => 0,
        Some(last) => last.parse::<u64>().map_or(0, |last| last.saturating_add(1)),
    };
    let head = shop.store().head(&stream)?;
    if head.next_seq == 0 {
        return parent.empty();
    }
    let found = shop.store().read(&stream, from, page.size)?;
    let mut records = Vec::with_capacity(found.len());
    let mut bytes = 0;
    for entry in &found {
        bytes += if with_bodies { entry.body.len() } else { 0 };
        if bytes > PAGE_BODY_BYTES_MAX && !records.is_empty() {
            break;
        }
        records.push(parent.tell(entry, with_bodies)?);
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
