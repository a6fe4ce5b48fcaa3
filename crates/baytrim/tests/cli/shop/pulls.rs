//! Pulls.

use baytrim_api::v1::pull_service_server::PullService;
use baytrim_api::v1::upload_pull_request::Message;
use baytrim_api::v1::{
    GetPullRequest, GetPullResponse, ListPullsRequest, ListPullsResponse, OpenUpload, Pull,
    StreamPullRequest, StreamPullResponse, SuggestChannelsRequest, SuggestChannelsResponse,
    UploadPullRequest, UploadPullResponse,
};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status, Streaming};

use super::{Shop, Upload};
use crate::answers;

#[tonic::async_trait]
impl PullService for Shop {
    type StreamPullStream = ReceiverStream<Result<StreamPullResponse, Status>>;

    async fn stream_pull(
        &self,
        _: Request<Streaming<StreamPullRequest>>,
    ) -> Result<Response<Self::StreamPullStream>, Status> {
        Err(Status::unimplemented(
            "the command line streams no live pulls",
        ))
    }

    async fn upload_pull(
        &self,
        request: Request<Streaming<UploadPullRequest>>,
    ) -> Result<Response<UploadPullResponse>, Status> {
        let entered = self.enter(&request).await;
        let upload = receive(request.into_inner()).await;
        let source_name = upload.open.source_name.clone();
        let (count, name) = self.with(|seen| {
            let check = upload.open.validate_only;
            seen.uploads.push(upload);
            let count = seen.uploads.len();
            let name = format!("jobs/quoll-1/pulls/p{count}");
            (count, if check { String::new() } else { name })
        });
        entered?;
        if source_name == "bad.csv" {
            return Err(Status::invalid_argument(
                "row 3, column lambda: \"rich\" is no number",
            ));
        }
        assert!(count > 0);
        let pull = Pull {
            name,
            source_name,
            ..answers::pull()
        };
        Ok(Response::new(UploadPullResponse { pull: Some(pull) }))
    }

    async fn suggest_channels(
        &self,
        request: Request<Streaming<SuggestChannelsRequest>>,
    ) -> Result<Response<SuggestChannelsResponse>, Status> {
        self.enter(&request).await?;
        let mut messages = request.into_inner();
        while messages.message().await?.is_some() {}
        Ok(Response::new(answers::suggestion()))
    }

    async fn get_pull(
        &self,
        request: Request<GetPullRequest>,
    ) -> Result<Response<GetPullResponse>, Status> {
        self.enter(&request).await?;
        let name = request.into_inner().name;
        Ok(Response::new(GetPullResponse {
            pull: Some(Pull {
                name,
                realised: Some(answers::realised()),
                ..answers::pull()
            }),
        }))
    }

    async fn list_pulls(
        &self,
        request: Request<ListPullsRequest>,
    ) -> Result<Response<ListPullsResponse>, Status> {
        self.enter(&request).await?;
        let pulls = vec![Pull {
            coverage: Vec::new(),
            ..answers::pull()
        }];
        Ok(Response::new(ListPullsResponse {
            pulls,
            next_page_token: String::new(),
        }))
    }
}

async fn receive(mut messages: Streaming<UploadPullRequest>) -> Upload {
    let mut upload = Upload {
        open: OpenUpload::default(),
        bytes: Vec::new(),
        chunk_bytes_max: 0,
        is_whole: false,
    };
    loop {
        match messages.message().await {
            Ok(Some(UploadPullRequest {
                message: Some(Message::Open(open)),
            })) => upload.open = open,
            Ok(Some(UploadPullRequest {
                message: Some(Message::Chunk(chunk)),
            })) => {
                upload.chunk_bytes_max = upload.chunk_bytes_max.max(chunk.len());
                upload.bytes.extend(chunk);
            }
            Ok(Some(UploadPullRequest { message: None })) => {}
            Ok(None) => {
                upload.is_whole = true;
                return upload;
            }
            Err(_) => return upload,
        }
    }
}
