//! One server, asked one thing at a time.

use std::future::Future;
use std::time::Duration;

use tonic::metadata::{Ascii, MetadataValue};
use tonic::transport::{Channel, ClientTlsConfig, Endpoint};
use tonic::{Code, Request, Response, Status};

use crate::exit::Exit;
use crate::failure::Failure;

/// Reading and recording: answered from memory and one disk sync.
pub(crate) const QUICK: Duration = Duration::from_secs(30);
/// Computing a proposal: the largest table over many pulls takes seconds.
pub(crate) const COMPUTE: Duration = Duration::from_secs(120);
/// Uploading a log or checking the whole ledger: bounded by disks and networks.
pub(crate) const LONG: Duration = Duration::from_secs(600);

/// Carrying a whole ledger: bounded by its size alone, so by a day.
pub(crate) const WHOLE: Duration = Duration::from_secs(24 * 3600);

/// Largest answer that is accepted: a proposal of 64 x 64 nodes has 1 MiB, a page of records less.
pub(crate) const ANSWER_BYTES_MAX: usize = 32 * 1024 * 1024;

/// Pauses between tries while no server answers.
const PAUSES: [Duration; 3] = [
    Duration::from_millis(200),
    Duration::from_millis(500),
    Duration::from_secs(1),
];

/// One server, and who asks it.
#[derive(Debug, Clone)]
pub(crate) struct Server {
    url: String,
    channel: Channel,
    token: Option<MetadataValue<Ascii>>,
    actor: Option<MetadataValue<Ascii>>,
    deadline: Option<Duration>,
}

impl Server {
    /// Returns the server at `url`, not yet connected; `tls` says how an `https` one is proven.
    ///
    /// # Errors
    /// When `url`, the token or the actor cannot be sent as they are, or nothing can prove the server.
    pub(crate) fn new(
        url: &str,
        tls: Option<ClientTlsConfig>,
        (token, actor): (Option<&str>, Option<&str>),
        deadline: Option<Duration>,
    ) -> Result<Self, Failure> {
        let usage = |message: String| Failure::local(Exit::Usage, "USAGE", message);
        if !url.starts_with("http://") && !url.starts_with("https://") {
            return Err(usage(format!(
                "cannot use {url} as the server: write it as https://HOST:PORT, or http://HOST:PORT where it does not speak TLS"
            )));
        }
        let mut endpoint = Endpoint::from_shared(url.to_owned())
            .map_err(|error| usage(format!("cannot use {url} as the server: {error}")))?
            .connect_timeout(Duration::from_secs(5))
            .http2_keep_alive_interval(Duration::from_secs(20))
            .keep_alive_timeout(Duration::from_secs(20))
            .user_agent(concat!("baytrim/", env!("CARGO_PKG_VERSION")))
            .map_err(|error| usage(error.to_string()))?;
        if let Some(tls) = tls {
            endpoint = endpoint.tls_config(tls).map_err(|error| {
                usage(format!(
                    "cannot use TLS with {url}: {}; name the certificate of the shop's authority with --ca-file, and your own with --certificate where bays show one",
                    deepest(&error)
                ))
            })?;
        }
        let token = token
            .map(|token| MetadataValue::try_from(format!("Bearer {token}")))
            .transpose()
            .map_err(|_| {
                usage("the token file holds more than one line of plain letters".into())
            })?;
        let actor = actor.map(actor_value).transpose()?;
        Ok(Self {
            url: url.to_owned(),
            channel: endpoint.connect_lazy(),
            token,
            actor,
            deadline,
        })
    }

    /// Returns where the server is.
    pub(crate) fn url(&self) -> &str {
        &self.url
    }

    /// Asks the server, again only while none answers; `message` names its request, where it records anything.
    ///
    /// # Errors
    /// What the server answered, or that it did not within `usual` or the deadline asked for.
    pub(crate) async fn ask<M, R, F, C>(
        &self,
        usual: Duration,
        message: M,
        call: C,
    ) -> Result<R, Failure>
    where
        M: Clone,
        F: Future<Output = Result<Response<R>, Status>>,
        C: Fn(Channel, Request<M>) -> F,
    {
        self.attempt(usual, || {
            call(self.channel.clone(), self.request(message.clone(), usual))
        })
        .await
    }

    /// Tries `call` again and again while no server answers it.
    pub(crate) async fn attempt<R, F>(
        &self,
        usual: Duration,
        mut call: impl FnMut() -> F,
    ) -> Result<R, Failure>
    where
        F: Future<Output = Result<Response<R>, Status>>,
    {
        let limit = self.deadline.unwrap_or(usual);
        let tries = async {
            for pause in PAUSES {
                match call().await {
                    Err(status) if status.code() == Code::Unavailable => {
                        tokio::time::sleep(pause).await;
                    }
                    other => return other,
                }
            }
            call().await
        };
        match tokio::time::timeout(limit, tries).await {
            Err(_) => Err(Failure::too_late(&self.url, limit.as_secs_f64())),
            Ok(Err(status)) => Err(Failure::of_status(&status, &self.url)),
            Ok(Ok(response)) => Ok(response.into_inner()),
        }
    }

    /// Returns the connection.
    pub(crate) fn channel(&self) -> Channel {
        self.channel.clone()
    }

    /// Returns `message` with who asks and until when.
    pub(crate) fn request<M>(&self, message: M, usual: Duration) -> Request<M> {
        let mut request = Request::new(message);
        // A second more than is waited here: else the transport's own timer, which calls it
        // CANCELLED, may be the first to speak.
        request.set_timeout(self.deadline.unwrap_or(usual) + Duration::from_secs(1));
        if let Some(token) = &self.token {
            request
                .metadata_mut()
                .insert("authorization", token.clone());
        }
        if let Some(actor) = &self.actor {
            request
                .metadata_mut()
                .insert("baytrim-actor", actor.clone());
        }
        request
    }
}

/// Returns what an error came from in the end.
fn deepest(error: &(dyn std::error::Error + 'static)) -> String {
    let mut error = error;
    while let Some(deeper) = error.source() {
        error = deeper;
    }
    error.to_string()
}

fn actor_value(actor: &str) -> Result<MetadataValue<Ascii>, Failure> {
    let printable = actor.bytes().all(|byte| (b' '..=b'~').contains(&byte));
    let value = MetadataValue::try_from(actor)
        .ok()
        .filter(|_| printable && actor.len() <= 80);
    value.ok_or_else(|| {
        let message = format!(
            "cannot act as {actor:?}: give --as a name of up to 80 plain letters (A to Z, digits, . - _ space)"
        );
        Failure::local(Exit::Usage, "USAGE", message)
    })
}
