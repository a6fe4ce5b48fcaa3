//! Room for heavy work: fits and logs being read run beside the requests, a few at a time.

use std::sync::Arc;

use tokio::sync::Semaphore;

use crate::fault::Fault;
use crate::limits::COMPUTE_WAITING_MAX;
use crate::metrics::{Counted, Metrics};

/// Runs heavy work on blocking threads, a few at a time; a short queue waits, the rest is turned away.
#[derive(Debug, Clone)]
pub struct Compute {
    running: Arc<Semaphore>,
    admitted: Arc<Semaphore>,
    metrics: Arc<Metrics>,
}

impl Compute {
    /// Returns room for `running_max` pieces of work at once.
    pub fn new(running_max: usize, metrics: Arc<Metrics>) -> Self {
        Self {
            running: Arc::new(Semaphore::new(running_max)),
            admitted: Arc::new(Semaphore::new(running_max + COMPUTE_WAITING_MAX)),
            metrics,
        }
    }

    /// Runs `work` when there is room.
    ///
    /// The room is given back when the work has ended, even when nobody waits for it any more.
    ///
    /// # Errors
    /// [`Fault::Busy`] when the queue is full, or what the work itself says.
    pub async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, Fault> + Send + 'static,
    ) -> Result<T, Fault> {
        let admitted = Arc::clone(&self.admitted).try_acquire_owned();
        let admitted = admitted.map_err(|_| Fault::Busy {
            what: "fits and logs waiting to be computed",
            max: COMPUTE_WAITING_MAX,
        })?;
        let waiting = Counted::new(&self.metrics.compute_waiting);
        let running = Arc::clone(&self.running).acquire_owned().await;
        drop(waiting);
        let running = running.map_err(|_| Fault::Stopping)?;
        let metrics = Arc::clone(&self.metrics);
        tokio::task::spawn_blocking(move || {
            let _room = (admitted, running);
            metrics.computing(work)
        })
        .await?
    }
}

/// Runs short blocking work, such as an append with its sync, off the async threads.
///
/// # Errors
/// What the work itself says.
pub async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Fault> + Send + 'static,
) -> Result<T, Fault> {
    tokio::task::spawn_blocking(work).await?
}
