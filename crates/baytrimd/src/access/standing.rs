//! Whether a caller whose call goes on for long may still make it.

use std::time::Duration;

use baytrim_access::caller;
use baytrim_model::ids::UnixMillis;
use tokio::sync::watch;

use super::{Access, Admitted};
use crate::fault::AccessFault;
use crate::limits::STANDING_LOOK;

/// A caller whose call goes on for long.
#[derive(Debug, Clone)]
pub(crate) struct Standing {
    access: Access,
    began_as: Admitted,
    method: String,
}

impl Standing {
    /// Returns the standing of who was let in to call `method`, `Service/Method`.
    pub(super) fn new(access: Access, began_as: Admitted, method: &str) -> Self {
        Self {
            access,
            began_as,
            method: method.to_owned(),
        }
    }

    /// Waits until the caller may go on no longer, and returns why: its token was revoked or has expired, or its
    /// member lost the role or is bound to another bay.
    pub(crate) async fn lost(&self) -> AccessFault {
        let mut changes = self.access.changes();
        loop {
            changes.borrow_and_update();
            let nap = match self.check() {
                Ok(expires_at) => self.nap(expires_at),
                Err(fault) => return fault,
            };
            tokio::select! {
                changed = changes.changed() => if changed.is_err() {
                    // Nobody records any more: only time goes on.
                    tokio::time::sleep(nap).await;
                },
                () = tokio::time::sleep(nap) => {}
            }
        }
    }

    /// Returns when the token expires, where it does.
    fn check(&self) -> Result<Option<UnixMillis>, AccessFault> {
        let (shop, at) = (self.access.state(), self.access.now());
        let began = &self.began_as.caller;
        let caller = caller::still(&shop, &began.token, at)?;
        let expires_at = shop
            .token(&began.token)
            .and_then(|entry| entry.issue.expires_at);
        let member = caller.member.clone();
        Admitted { caller, shop }.check(&self.method)?;
        match member.bay {
            Some(bay) if began.member.bay.as_ref() != Some(&bay) => Err(AccessFault::OtherBay {
                member: member.name.to_string(),
                bay: bay.to_string(),
            }),
            _ => Ok(expires_at),
        }
    }

    /// Returns how long nothing can change by itself; a clock that is set is looked at soon.
    fn nap(&self, expires_at: Option<UnixMillis>) -> Duration {
        let left = expires_at.map(|at| at.0.saturating_sub(self.access.now().0).max(1));
        let left = left.map(|ms| Duration::from_millis(ms.unsigned_abs()));
        left.map_or(STANDING_LOOK, |left| left.min(STANDING_LOOK))
    }
}

impl Access {
    /// Returns what tells that the shop has changed.
    fn changes(&self) -> watch::Receiver<u64> {
        self.0.changes.subscribe()
    }
}
