//! Trying again while the database is away for a moment.

use std::time::Duration;

use baytrim_ledger::StoreFault;

use crate::session::Session;
use crate::shared::Shared;
use crate::trouble::Trouble;

/// Pause before the second try; later ones double.
const PAUSE_MIN: Duration = Duration::from_millis(20);

/// Longest pause: after a failover nobody waits longer than this for nothing.
const PAUSE_MAX: Duration = Duration::from_millis(500);

impl Shared {
    /// Does `work` on a connection, again on another one while only the line or the database's state is in the way, for
    /// as long as the store's patience lasts.
    ///
    /// `work` must bear being done again although it may have been done already.
    pub(crate) async fn retry<T>(
        &self,
        what: &str,
        work: impl AsyncFn(&Session) -> Result<T, Trouble>,
    ) -> Result<T, StoreFault> {
        let mut last = None;
        let tries = async {
            let mut pause = PAUSE_MIN;
            loop {
                match self.attempt(&work).await {
                    Err(trouble) if trouble.is_passing() => {
                        tracing::debug!(what, ?trouble, "trying again");
                        self.pool.close_idle();
                        last = Some(trouble);
                    }
                    ended => return ended,
                }
                tokio::time::sleep(pause).await;
                pause = (pause * 2).min(PAUSE_MAX);
            }
        };
        let ended = tokio::time::timeout(self.patience, tries).await;
        let Ok(ended) = ended else {
            let trouble = last.unwrap_or(Trouble::Silent);
            // A database that stands still answers nobody; the next call looks for another.
            self.pool.close_idle();
            tracing::error!(what, ?trouble, "the database did not do it in time");
            return Err(trouble.into_fault(what));
        };
        ended.map_err(|trouble| trouble.into_fault(what))
    }

    async fn attempt<T>(
        &self,
        work: &impl AsyncFn(&Session) -> Result<T, Trouble>,
    ) -> Result<T, Trouble> {
        let held = self.pool.take().await?;
        if held.is_new || self.seen.is_lacking() {
            self.seen.prove(&held.session).await?;
        }
        let ended = work(&held.session).await;
        // A statement that was refused leaves the connection as good as it was.
        if ended
            .as_ref()
            .err()
            .is_none_or(|trouble| !trouble.is_passing())
        {
            self.pool.give(held);
        }
        ended
    }
}
