//! Word of what was recorded, for those who watch.

use baytrim_ledger::StreamName;
use tokio::sync::broadcast;

use crate::limits::NEWS_WAITING_MAX;

/// Word of what was recorded: names of streams, each after the append is durable. It is a hint that
/// spares waiting: what was recorded stands in the ledger, and whoever falls behind reads it there.
#[derive(Debug, Clone)]
pub struct News {
    streams: broadcast::Sender<StreamName>,
}

impl News {
    /// Returns news that nobody listens to yet.
    pub(super) fn new() -> Self {
        let (streams, _) = broadcast::channel(NEWS_WAITING_MAX);
        Self { streams }
    }

    /// Tells that something was recorded in `stream`.
    pub(super) fn tell(&self, stream: &StreamName) {
        // Nobody who listens is no fault.
        let _unheard = self.streams.send(stream.clone());
    }

    /// Returns the names of streams in which something is recorded from now on.
    pub fn listen(&self) -> broadcast::Receiver<StreamName> {
        self.streams.subscribe()
    }
}
