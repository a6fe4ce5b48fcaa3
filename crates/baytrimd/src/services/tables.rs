//! Reads tables, reverts and exports them.

use std::sync::Arc;

use baytrim_api::v1::table_service_server::TableService;
use baytrim_api::v1::{
    ExportTableRequest, ExportTableResponse, GetRevisionRequest, GetRevisionResponse,
    ListRevisionsRequest, ListRevisionsResponse, RevertTableRequest, RevertTableResponse,
};
use baytrim_jobs::export::{Export, Form};
use baytrim_jobs::state::Outcome;
use baytrim_jobs::{JobState, Refusal, export, revert};
use baytrim_model::ids::{Actor, RevisionId};
use baytrim_model::record::{JobEvent, JobRecord};
use baytrim_model::revision::Revision;
use tonic::{Request, Response, Status};

use crate::clock;
use crate::compute::blocking;
use crate::convert::page::Page;
use crate::convert::{job, name, request, revision};
use crate::fault::{Fault, InternalFault};
use crate::shop::{Author, Decided, Shop, decode, stream_of};

/// Records that are read at a time.
const READ_RECORDS: usize = 256;

/// The table service.
#[derive(Debug, Clone)]
pub struct Tables {
    shop: Arc<Shop>,
}

impl Tables {
    /// Returns the service over `shop`.
    pub fn new(shop: Arc<Shop>) -> Self {
        Self { shop }
    }
}

#[tonic::async_trait]
impl TableService for Tables {
    async fn get_revision(
        &self,
        request: Request<GetRevisionRequest>,
    ) -> Result<Response<GetRevisionResponse>, Status> {
        let parsed = name::parse_revision("name", &request.get_ref().name);
        let (id, number) = parsed.map_err(Fault::from)?;
        let shop = Arc::clone(&self.shop);
        let found = blocking(move || {
            let state = shop.job(&id)?.state;
            Ok(revision::whole(&state, find(&state, number)?))
        });
        let revision = Some(found.await?);
        Ok(Response::new(GetRevisionResponse { revision }))
    }

    async fn list_revisions(
        &self,
        request: Request<ListRevisionsRequest>,
    ) -> Result<Response<ListRevisionsResponse>, Status> {
        let request = request.get_ref();
        let id = name::parse_job("parent", &request.parent).map_err(Fault::from)?;
        let list = format!("revisions of {id}");
        let page = Page::parse(&list, request.page_size, &request.page_token);
        let (page, shop) = (page.map_err(Fault::from)?, Arc::clone(&self.shop));
        let state = blocking(move || shop.job(&id)).await?.state;
        let key = |revision: &&Revision| revision.id.to_string();
        let (revisions, next_page_token) = page.cut(state.revisions.iter().rev(), key);
        let revisions = revisions.iter().map(|found| revision::brief(&state, found));
        Ok(Response::new(ListRevisionsResponse {
            revisions: revisions.collect(),
            next_page_token,
        }))
    }

    async fn revert_table(
        &self,
        request: Request<RevertTableRequest>,
    ) -> Result<Response<RevertTableResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        Ok(Response::new(
            blocking(move || put_back(&shop, by, &request)).await?,
        ))
    }

    async fn export_table(
        &self,
        request: Request<ExportTableRequest>,
    ) -> Result<Response<ExportTableResponse>, Status> {
        let by = request::actor(&request);
        let (shop, request) = (Arc::clone(&self.shop), request.into_inner());
        Ok(Response::new(
            blocking(move || hand_out(&shop, by, &request)).await?,
        ))
    }
}

/// Returns a revision; none asks for the one in force.
fn find(state: &JobState, number: Option<RevisionId>) -> Result<&Revision, Refusal> {
    match number {
        Some(number) => state.revision(number),
        None => Ok(state.head()),
    }
}

fn put_back(
    shop: &Shop,
    by: Actor,
    request: &RevertTableRequest,
) -> Result<RevertTableResponse, Fault> {
    let id = name::parse_job("parent", &request.parent)?;
    let author = request::author(by, &request.request_id)?;
    let to = name::part::<RevisionId>("revision", &request.revision)?;
    let is_same = |outcome| matches!(outcome, Outcome::Reverted(_));
    let decided = shop.decide(&id, &author, &is_same, |job| {
        job::check_etag(job, &request.etag)?;
        let (reason, by) = (&request.reason, &author.by);
        Ok(revert::event(&job.state, to, reason, clock::now(), by)?)
    })?;
    let Outcome::Reverted(made) = decided.outcome else {
        return Err(InternalFault::Impossible("a revert was recorded as something else").into());
    };
    let state = &decided.job.state;
    let revision = Some(revision::whole(state, state.revision(made)?));
    Ok(RevertTableResponse { revision })
}

/// Records the export, then hands it out.
fn hand_out(
    shop: &Shop,
    by: Actor,
    request: &ExportTableRequest,
) -> Result<ExportTableResponse, Fault> {
    let (id, number) = name::parse_revision("name", &request.name)?;
    let form = revision::form(request)?;
    let author = request::author(by, &request.request_id)?;
    let is_same = |outcome| matches!(outcome, Outcome::Exported(_));
    let mut handed = None;
    let decided = shop.decide(&id, &author, &is_same, |job| {
        let found = find(&job.state, number)?;
        export::check_form(found, form)?;
        let export = export::render(&job.state, found, form);
        let event = export::event(found, form, &export);
        handed = Some((export, found.id));
        Ok(event)
    })?;
    let state = &decided.job.state;
    let (export, revision) = match (handed, decided.outcome) {
        (Some(handed), _) if !decided.is_repeat => handed,
        (_, Outcome::Exported(revision)) => {
            (again(shop, &author, &decided, revision, form)?, revision)
        }
        _ => return Err(InternalFault::Impossible("an export of nothing").into()),
    };
    Ok(ExportTableResponse {
        content: export.content,
        file_name: export.file_name,
        media_type: export.media_type.to_owned(),
        sha256: export.sha256,
        revision: revision.to_string(),
        revision_sha256: export::values_sha256(state.revision(revision)?),
        cautions: export::cautions(state.revision(revision)?)
            .map(str::to_owned)
            .to_vec(),
    })
}

/// Returns what the same request was handed before; another form under its name is another request.
fn again(
    shop: &Shop,
    author: &Author,
    decided: &Decided,
    revision: RevisionId,
    form: Form,
) -> Result<Export, Fault> {
    let state = &decided.job.state;
    let export = export::render(state, state.revision(revision)?, form);
    let stream = stream_of(state.id());
    let mut from = 0;
    loop {
        let records = shop.store().read(&stream, from, READ_RECORDS)?;
        let Some(last) = records.last() else {
            return Err(InternalFault::Impossible("an export that is not on record").into());
        };
        from = last.seq + 1;
        for record in &records {
            let decoded: JobRecord = decode(record)?;
            if decoded.request_id == author.request_id
                && let JobEvent::TableExported { content_sha256, .. } = &decoded.event
            {
                if *content_sha256 == export.sha256 {
                    return Ok(export);
                }
                let id = author.request_id.as_ref().map_or("", |id| &id.0);
                return Err(Refusal::RequestIdReused(id.to_owned()).into());
            }
        }
    }
}
