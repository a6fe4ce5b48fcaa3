//! Refuses every write after one that failed.

use std::sync::OnceLock;

use baytrim_ledger::StoreFault;

/// Remembers the first failed write.
#[derive(Default)]
pub(crate) struct Poison(OnceLock<String>);

impl Poison {
    /// Refuses when an earlier write failed.
    ///
    /// # Errors
    /// [`StoreFault::Poisoned`].
    pub(crate) fn check(&self) -> Result<(), StoreFault> {
        match self.0.get() {
            None => Ok(()),
            Some(reason) => Err(StoreFault::Poisoned {
                reason: reason.clone(),
            }),
        }
    }

    /// Refuses every write from now on.
    pub(crate) fn set(&self, fault: &StoreFault) {
        let reason = match std::error::Error::source(fault) {
            Some(source) => format!("{fault}: {source}"),
            None => fault.to_string(),
        };
        tracing::error!(reason, "the store takes no more writes");
        // A second failure changes nothing: the first reason stays.
        let _ = self.0.set(reason);
    }
}
