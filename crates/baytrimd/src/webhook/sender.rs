//! One message over HTTP.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use baytrim_model::ids::UnixMillis;
use ureq::Agent;
use ureq::tls::{Certificate, PemItem, RootCerts, TlsConfig, parse_pem};

use super::WebhookError;
use super::message::Message;
use super::secret::Secret;

/// Longest time that one try may take.
const TRY_PATIENCE: Duration = Duration::from_secs(15);

/// What came of one try.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Answer {
    /// The receiver has it.
    Taken,
    /// The receiver wants no more of them.
    Gone,
    /// It did not arrive; says why.
    Failed(String),
}

/// Sends to one address.
#[derive(Debug)]
pub(super) struct Sender {
    agent: Agent,
    url: String,
    secret: Secret,
}

impl Sender {
    /// Returns a sender to `url`, whose certificate is checked by those in `ca_file`, else by the public authorities.
    ///
    /// # Errors
    /// When the certificates can't be read.
    pub(super) fn new(
        url: &str,
        secret: Secret,
        ca_file: Option<&Path>,
    ) -> Result<Self, WebhookError> {
        let roots = ca_file.map_or(Ok(RootCerts::WebPki), authorities)?;
        let config = Agent::config_builder()
            .timeout_global(Some(TRY_PATIENCE))
            // A receiver that moved must be named anew: a signed message goes nowhere that nobody named.
            .max_redirects(0)
            .max_redirects_will_error(false)
            .http_status_as_error(false)
            .user_agent(concat!("baytrimd/", env!("CARGO_PKG_VERSION")))
            .tls_config(TlsConfig::builder().root_certs(roots).build())
            .build();
        Ok(Self {
            agent: config.new_agent(),
            url: url.to_owned(),
            secret,
        })
    }

    /// Sends one message and waits for the answer.
    pub(super) fn send(&self, message: &Message, now: UnixMillis) -> Answer {
        let second = now.0.div_euclid(1000);
        let signature = self.secret.sign(&message.id, second, &message.body);
        let sent = self
            .agent
            .post(&self.url)
            .header("content-type", "application/json")
            .header("webhook-id", &message.id)
            .header("webhook-timestamp", second.to_string())
            .header("webhook-signature", signature)
            .send(&message.body);
        match sent {
            Ok(response) if response.status().is_success() => Answer::Taken,
            Ok(response) if response.status().as_u16() == 410 => Answer::Gone,
            Ok(response) => Answer::Failed(format!("it answered {}", response.status())),
            Err(error) => Answer::Failed(error.to_string()),
        }
    }
}

fn authorities(file: &Path) -> Result<RootCerts, WebhookError> {
    let bytes = std::fs::read(file).map_err(|source| WebhookError::File {
        path: file.to_owned(),
        source,
    })?;
    let found: Result<Vec<_>, _> = parse_pem(&bytes).collect();
    let found: Vec<Certificate<'static>> = found
        .unwrap_or_default()
        .into_iter()
        .filter_map(|item| match item {
            PemItem::Certificate(certificate) => Some(certificate),
            _ => None,
        })
        .collect();
    if found.is_empty() {
        return Err(WebhookError::Content {
            path: file.to_owned(),
            problem: "holds no certificate in PEM form",
            remedy: "name the certificate of the authority that the receiver's is checked by",
        });
    }
    Ok(RootCerts::Specific(Arc::new(found)))
}
