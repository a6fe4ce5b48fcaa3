//! A bucket behind S3's interface, by its address.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use object_store::aws::AmazonS3Builder;
use object_store::{ClientOptions, RetryConfig};

use crate::Bucket;

/// Time that one request waits for its answer.
const ANSWER_MAX: Duration = Duration::from_secs(30);

/// Time in which a request that failed for a passing reason is made again.
const PATIENCE: Duration = Duration::from_secs(15);

/// Says why a bucket can't be used.
#[derive(Debug, thiserror::Error)]
pub enum BucketError {
    /// A setting is wrong.
    #[error(
        "{url} can't be used for blobs; set AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY, AWS_REGION, and AWS_ENDPOINT where it is not that of the region"
    )]
    Settings {
        /// The address.
        url: String,
        /// Why.
        source: object_store::Error,
    },
    /// The address names no bucket.
    #[error("{url} is no address of blobs; write s3://BUCKET or s3://BUCKET/FOLDER")]
    Kind {
        /// The address.
        url: String,
    },
    /// The thread that talks to it can't be started.
    #[error("the thread that talks to the object storage can't be started")]
    Threads(#[from] io::Error),
}

impl Bucket {
    /// Returns the bucket at `s3://BUCKET[/FOLDER]`; `settings` are those that are named `AWS_...` everywhere.
    ///
    /// # Errors
    /// [`BucketError`] says what to write.
    pub fn at(
        url: &str,
        settings: impl IntoIterator<Item = (String, String)>,
    ) -> Result<Self, BucketError> {
        let place = url.strip_prefix("s3://").unwrap_or("");
        let (name, folder) = place.split_once('/').unwrap_or((place, ""));
        let url = url.to_owned();
        if name.is_empty() {
            return Err(BucketError::Kind { url });
        }
        let retry = RetryConfig {
            retry_timeout: PATIENCE,
            ..RetryConfig::default()
        };
        let mut builder = AmazonS3Builder::new()
            .with_bucket_name(name)
            .with_retry(retry)
            .with_client_options(ClientOptions::new().with_timeout(ANSWER_MAX));
        for (key, value) in settings {
            // What is not known is not for us.
            if let Ok(key) = key.to_ascii_lowercase().parse() {
                builder = builder.with_config(key, value);
            }
        }
        let built = builder.build();
        let built = built.map_err(|source| BucketError::Settings { url, source })?;
        Ok(Self::over(Arc::new(built), folder)?)
    }
}
