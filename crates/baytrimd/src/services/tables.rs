//! Reads tables, reverts and exports them.

use std::sync::Arc;

use baytrim_api::v1::table_service_server::TableService;
use baytrim_api::v1::{
    ExportTableRequest, ExportTableResponse, GetRevisionRequest, GetRevisionResponse,
    ListRevisionsRequest, ListRevisionsResponse, RevertTableRequest, RevertTableResponse,
};
use baytrim_jobs::state::Outcome;
use baytrim_jobs::{JobState, Refusal, export, revert};
use baytrim_model::ids::{Actor, RevisionId};
use baytrim_model::revision::Revision;
use tonic::{Request, Response, Status};

use crate::clock;
use crate::compute::blocking;
use crate::convert::page::Page;
use crate::convert::{job, name, request, revision};
use crate::fault::{Fault, InternalFault};
use crate::shop::{Author, Shop};

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
    let author = Author {
        by,
        request_id: None,
    };
    let mut handed = None;
    shop.decide(&id, &author, &|_| false, |job| {
        let found = find(&job.state, number)?;
        let export = export::render(&job.state, found, form);
        let event = export::event(found, form, &export);
        handed = Some((export, found.id));
        Ok(event)
    })?;
    let (export, revision) = handed.ok_or(InternalFault::Impossible("an export of nothing"))?;
    Ok(ExportTableResponse {
        content: export.content,
        file_name: export.file_name,
        media_type: export.media_type.to_owned(),
        sha256: export.sha256,
        revision: revision.to_string(),
    })
}
