//! Shows a token with every call; shared by tests and benches.

use tonic::metadata::{Ascii, MetadataValue};
use tonic::service::Interceptor;
use tonic::{Request, Status};

/// Shows a token with every call, unless the request itself does.
#[derive(Debug, Clone)]
pub(crate) struct Bearer(MetadataValue<Ascii>);

impl Bearer {
    /// Takes a token as it is, or as its file has it.
    pub(crate) fn of(token: &str) -> Self {
        Self(format!("Bearer {}", token.trim()).parse().unwrap())
    }
}

impl Interceptor for Bearer {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        if request.metadata().get("authorization").is_none() {
            let token = self.0.clone();
            request.metadata_mut().insert("authorization", token);
        }
        Ok(request)
    }
}
