//! The library.

use baytrim_api::v1::library_service_server::LibraryService;
use baytrim_api::v1::{
    CreateStartingTableRequest, CreateStartingTableResponse, FindNearestRequest,
    FindNearestResponse, ListLibraryRequest, ListLibraryResponse, Proposal,
};
use tonic::{Request, Response, Status};

use super::Shop;
use crate::answers::library::{entries, nearest, starting_table};

#[tonic::async_trait]
impl LibraryService for Shop {
    async fn list_library(
        &self,
        request: Request<ListLibraryRequest>,
    ) -> Result<Response<ListLibraryResponse>, Status> {
        self.enter(&request).await?;
        Ok(Response::new(ListLibraryResponse {
            entries: entries(),
            next_page_token: String::new(),
        }))
    }

    async fn find_nearest(
        &self,
        request: Request<FindNearestRequest>,
    ) -> Result<Response<FindNearestResponse>, Status> {
        self.enter(&request).await?;
        Ok(Response::new(nearest()))
    }

    async fn create_starting_table(
        &self,
        request: Request<CreateStartingTableRequest>,
    ) -> Result<Response<CreateStartingTableResponse>, Status> {
        self.enter(&request).await?;
        let request = request.into_inner();
        let name = if request.validate_only {
            String::new()
        } else {
            starting_table().name
        };
        self.with(|seen| seen.starts.push(request));
        let proposal = Some(Proposal {
            name,
            ..starting_table()
        });
        Ok(Response::new(CreateStartingTableResponse { proposal }))
    }
}
