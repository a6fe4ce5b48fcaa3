//! Looks now and then at what another daemon over the same store recorded about members.

use tokio::sync::watch;

use super::Access;
use crate::compute::blocking;
use crate::fault::InternalFault;
use crate::limits::STANDING_LOOK;

/// Looks at the shop's stream again and again, until `stop` turns true.
pub(crate) async fn look_on(access: Access, mut stop: watch::Receiver<bool>) {
    loop {
        tokio::select! {
            biased;
            // A channel that is closed means the same.
            _ = stop.wait_for(|stopping| *stopping) => return,
            () = tokio::time::sleep(STANDING_LOOK) => {}
        }
        let looking = access.clone();
        if let Err(fault) = blocking(move || Ok(looking.look()?)).await {
            tracing::warn!(error = %fault, "what others recorded about members can't be read; trying again");
        }
    }
}

impl Access {
    /// Takes in what another program recorded about members.
    ///
    /// # Errors
    /// The store's fault, or records that tell no shop.
    pub(crate) fn look(&self) -> Result<(), InternalFault> {
        if self.0.members.look()? {
            self.0.changes.send_modify(|count| *count += 1);
        }
        Ok(())
    }
}
