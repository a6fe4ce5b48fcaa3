//! Messages to an address elsewhere: when a proposal begins to wait for a verdict, and when it waits no longer.
//!
//! Form, names of headers and signature are those of the open specification Standard Webhooks 1.0.

mod message;
mod secret;
mod sender;
mod told;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio_stream::StreamExt as _;

use crate::clock;
use crate::config::WebhookSettings;
use crate::fault::Fault;
use crate::metrics::{MESSAGE_GIVEN_UP, MESSAGE_TAKEN, Metrics};
use crate::services::watches;
use crate::shop::Shop;

use message::Message;
use sender::{Answer, Sender};
use told::Told;

pub use secret::SECRET_FILE;

/// How often a message is tried, and how long after a failure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// Tries of one message, one at the least.
    pub try_count_max: u32,
    /// Pause after the first failure; each next one is twice as long.
    pub first_pause: Duration,
    /// Longest pause.
    pub pause_max: Duration,
}

impl Default for Patience {
    /// Returns twelve tries within a good quarter of an hour.
    fn default() -> Self {
        Self {
            try_count_max: 12,
            first_pause: Duration::from_secs(1),
            pause_max: Duration::from_secs(300),
        }
    }
}

/// Where messages go.
#[derive(Debug, Clone)]
pub struct Webhook {
    sender: Arc<Sender>,
    told: PathBuf,
    /// How often a message is tried.
    pub patience: Patience,
}

/// Why no messages can be sent.
#[derive(Debug, thiserror::Error)]
pub enum WebhookError {
    /// A file can't be read or written.
    #[error("{}: can't be read or written; check the path and who may use it", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file holds something else.
    #[error("{}: {problem}; {remedy}", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: &'static str,
        /// What to do.
        remedy: &'static str,
    },
    /// The system gave no random bytes.
    #[error("the system gives no random bytes for a secret")]
    Random(#[source] getrandom::Error),
}

impl Webhook {
    /// Returns where `settings` say that messages go; a secret is made in the ledger's directory where none is named.
    ///
    /// # Errors
    /// When the secret or the certificates can't be had.
    pub fn open(settings: &WebhookSettings, data: &Path) -> Result<Self, WebhookError> {
        let secret = secret::establish(settings.secret_file.as_deref(), data)?;
        let sender = Sender::new(&settings.url, secret, settings.ca_file.as_deref())?;
        Ok(Self {
            sender: Arc::new(sender),
            told: data.join(told::TOLD_FILE),
            patience: Patience::default(),
        })
    }
}

/// Why messages stop for now.
enum Pause {
    /// The daemon stops.
    Stopping,
    /// The receiver wants no more.
    Gone,
    /// What waits could not be watched.
    Fault(Fault),
}

impl From<Fault> for Pause {
    fn from(fault: Fault) -> Self {
        Self::Fault(fault)
    }
}

/// Sends messages until `stopped` turns true, or the receiver says that it wants no more.
pub async fn run(shop: Arc<Shop>, webhook: Webhook, stopped: watch::Receiver<bool>) {
    let mut told = Told::read(&webhook.told);
    loop {
        match follow(&shop, &webhook, &mut told, &stopped).await {
            // The watch gave up on us while a message was tried again and again: what was told is known.
            Ok(()) => {}
            Err(Pause::Stopping) => return,
            Err(Pause::Gone) => {
                tracing::error!(
                    "the receiver of messages said 410 Gone and gets no more; check `webhook.url` and start anew"
                );
                return;
            }
            Err(Pause::Fault(fault)) => {
                tracing::warn!(
                    error = &fault as &dyn std::error::Error,
                    "proposals that wait could not be watched; all that wait are told again"
                );
                told.forget();
                if sleep(webhook.patience.pause_max, &stopped).await {
                    return;
                }
            }
        }
    }
}

async fn follow(
    shop: &Arc<Shop>,
    webhook: &Webhook,
    told: &mut Told,
    stopped: &watch::Receiver<bool>,
) -> Result<(), Pause> {
    let mut heard = watches::hear_proposals(shop, told.names(), stopped).await?;
    while let Some(answer) = heard.next().await {
        let Ok(answer) = answer else {
            return if *stopped.borrow() {
                Err(Pause::Stopping)
            } else {
                Ok(())
            };
        };
        if let Some(proposal) = answer.proposal {
            let message = Message::of(&proposal, clock::now());
            deliver(webhook, &message, shop.metrics(), stopped).await?;
            told.note(&proposal);
        }
    }
    Ok(())
}

async fn deliver(
    webhook: &Webhook,
    message: &Message,
    metrics: &Metrics,
    stopped: &watch::Receiver<bool>,
) -> Result<(), Pause> {
    let patience = webhook.patience;
    let mut pause = patience.first_pause;
    let mut number = 1;
    loop {
        let (sender, sent) = (Arc::clone(&webhook.sender), message.clone());
        let answer = tokio::task::spawn_blocking(move || sender.send(&sent, clock::now()));
        match answer.await.map_err(Fault::from)? {
            Answer::Taken => {
                metrics.message(MESSAGE_TAKEN);
                return Ok(());
            }
            Answer::Gone => return Err(Pause::Gone),
            Answer::Failed(problem) if number >= patience.try_count_max => {
                tracing::error!(message = message.kind, %problem, tries = number, "a message was given up; `baytrim inbox` has what waits");
                metrics.message(MESSAGE_GIVEN_UP);
                return Ok(());
            }
            Answer::Failed(problem) => {
                tracing::warn!(message = message.kind, %problem, pause_s = pause.as_secs_f64(), "a message did not arrive; it is tried again");
            }
        }
        if sleep(pause, stopped).await {
            return Err(Pause::Stopping);
        }
        pause = (pause * 2).min(patience.pause_max);
        number += 1;
    }
}

/// Waits; returns whether the daemon stops meanwhile.
async fn sleep(pause: Duration, stopped: &watch::Receiver<bool>) -> bool {
    let mut stopped = stopped.clone();
    let told = stopped.wait_for(|stopping| *stopping);
    tokio::time::timeout(pause, told).await.is_ok()
}
