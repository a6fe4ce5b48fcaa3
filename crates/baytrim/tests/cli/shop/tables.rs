//! Tables.

use baytrim_api::v1::table_service_server::TableService;
use baytrim_api::v1::{
    ExportTableRequest, ExportTableResponse, GetRevisionRequest, GetRevisionResponse,
    ListRevisionsRequest, ListRevisionsResponse, RevertTableRequest, RevertTableResponse, Revision,
};
use tonic::{Request, Response, Status};

use super::Shop;
use crate::answers;

#[tonic::async_trait]
impl TableService for Shop {
    async fn get_revision(
        &self,
        request: Request<GetRevisionRequest>,
    ) -> Result<Response<GetRevisionResponse>, Status> {
        self.enter(&request).await?;
        let asked = request.into_inner().name;
        let name = asked.replace("/-", "/r1");
        let revision = Some(Revision {
            name,
            ..answers::revision()
        });
        Ok(Response::new(GetRevisionResponse { revision }))
    }

    async fn list_revisions(
        &self,
        request: Request<ListRevisionsRequest>,
    ) -> Result<Response<ListRevisionsResponse>, Status> {
        self.enter(&request).await?;
        let revisions = vec![answers::revision()];
        Ok(Response::new(ListRevisionsResponse {
            revisions,
            next_page_token: String::new(),
        }))
    }

    async fn revert_table(
        &self,
        request: Request<RevertTableRequest>,
    ) -> Result<Response<RevertTableResponse>, Status> {
        self.enter(&request).await?;
        self.with(|seen| seen.reverts.push(request.into_inner()));
        Ok(Response::new(RevertTableResponse {
            revision: Some(answers::revision()),
        }))
    }

    async fn export_table(
        &self,
        request: Request<ExportTableRequest>,
    ) -> Result<Response<ExportTableResponse>, Status> {
        self.enter(&request).await?;
        self.with(|seen| seen.exports.push(request.into_inner()));
        Ok(Response::new(ExportTableResponse {
            content: b"plate_percent/rpm,1500\n0,1.5\n".to_vec(),
            file_name: "quoll-1-r1.csv".to_owned(),
            media_type: "text/csv".to_owned(),
            sha256: "cd".repeat(32),
            revision: "r1".to_owned(),
            revision_sha256: "ab".repeat(32),
            cautions: vec!["Check the mixture on the machine.".to_owned()],
        }))
    }
}
