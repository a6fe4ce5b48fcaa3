//! Clients that know several daemons, and ask until one of them answers.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use tonic::service::interceptor::InterceptedService;
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Status};

use crate::bearer::Bearer;
use crate::history::History;

/// A connection to one daemon that shows a token.
pub(crate) type Wire = InterceptedService<Channel, Bearer>;

/// Longer than a daemon takes to say that its database is away.
const CALL_MAX: Duration = Duration::from_secs(20);

/// A client that is told nothing for so long has found a shop that stands still.
const PATIENCE: Duration = Duration::from_secs(180);

/// The daemons, and what everybody was told.
pub(crate) struct Shop {
    channels: Vec<Channel>,
    next: AtomicUsize,
    history: Mutex<History>,
}

impl Shop {
    pub(crate) fn at(urls: &[String]) -> Self {
        let lazily = |url: &String| {
            let endpoint = Endpoint::from_shared(url.clone()).unwrap();
            endpoint
                .connect_timeout(Duration::from_secs(2))
                .http2_keep_alive_interval(Duration::from_secs(2))
                .keep_alive_timeout(Duration::from_secs(3))
                .keep_alive_while_idle(true)
                .connect_lazy()
        };
        Self {
            channels: urls.iter().map(lazily).collect(),
            next: AtomicUsize::new(0),
            history: Mutex::default(),
        }
    }

    pub(crate) fn note<T>(&self, note: impl FnOnce(&mut History) -> T) -> T {
        note(&mut self.history.lock().unwrap())
    }

    /// Returns a connection to the daemon of that number, counted round.
    pub(crate) fn wire(&self, number: usize, bearer: &Bearer) -> Wire {
        let channel = self.channels[number % self.channels.len()].clone();
        InterceptedService::new(channel, bearer.clone())
    }

    /// Asks one daemon after the other until one of them does it, or refuses it for a reason of its own.
    #[expect(clippy::disallowed_methods, reason = "the longest stall is measured")]
    pub(crate) async fn anywhere<T>(
        &self,
        what: &'static str,
        bearer: &Bearer,
        ask: impl AsyncFn(Wire) -> Result<T, Status>,
    ) -> Result<T, Status> {
        let began = Instant::now();
        loop {
            let wire = self.wire(self.next.fetch_add(1, Ordering::Relaxed), bearer);
            let asked = tokio::time::timeout(CALL_MAX, ask(wire)).await;
            match asked.unwrap_or_else(|_| Err(Status::deadline_exceeded("no answer"))) {
                Err(status) if is_passing(&status) => {
                    assert!(began.elapsed() < PATIENCE, "{what}: {status:?}");
                    self.note(|history| {
                        history.figures.again += 1;
                        history.figures.failed += u64::from(status.code() == Code::Internal);
                    });
                    tokio::time::sleep(Duration::from_millis(50)).await;
                }
                ended => {
                    self.note(|history| history.took(what, began.elapsed()));
                    return ended;
                }
            }
        }
    }
}

/// Whether another daemon, or the same one later, may well do it.
fn is_passing(status: &Status) -> bool {
    match status.code() {
        // Away for now; changed by others all the time, or taken over by another connection; a line that broke, as the
        // client's library says it, or a daemon that failed, which is counted, and told.
        Code::Unavailable
        | Code::Cancelled
        | Code::DeadlineExceeded
        | Code::ResourceExhausted
        | Code::Aborted
        | Code::Unknown
        | Code::Internal => true,
        _ => false,
    }
}
