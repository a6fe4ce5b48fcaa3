//! What ends a stream that is otherwise well: the daemon stops, or its caller may not go on.

use tokio::sync::watch;
use tonic::Request;

use crate::access::Standing;
use crate::fault::Fault;

/// What ends a stream that is otherwise well.
#[derive(Debug, Clone)]
pub(crate) struct Ending {
    stop: watch::Receiver<bool>,
    standing: Option<Standing>,
}

impl Ending {
    /// Returns what ends the stream of `request`; `stop` turns true when the daemon is to end.
    pub(crate) fn of<T>(request: &Request<T>, stop: &watch::Receiver<bool>) -> Self {
        Self {
            stop: stop.clone(),
            standing: request.extensions().get::<Standing>().cloned(),
        }
    }

    /// Returns what ends a stream of the daemon's own.
    pub(crate) fn with(stop: &watch::Receiver<bool>) -> Self {
        Self {
            stop: stop.clone(),
            standing: None,
        }
    }

    /// Waits for it, and returns what to tell.
    pub(crate) async fn come(&mut self) -> Fault {
        let lost = async {
            match &self.standing {
                Some(standing) => standing.lost().await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            biased;
            // A channel that is closed means the same.
            _ = self.stop.wait_for(|stopping| *stopping) => Fault::Stopping,
            fault = lost => fault.into(),
        }
    }
}
