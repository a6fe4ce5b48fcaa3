//! Bays: what the ledger knows of them apart from any job.

use std::sync::Arc;

use baytrim_jobs::BayState;
use baytrim_jobs::bay::BayOutcome;
use baytrim_ledger::{Head, StreamName};
use baytrim_model::ids::{BayName, UnixMillis};
use baytrim_model::record::BayEvent;

use super::commit::{Step, before};
use super::{Author, Loaded, Shop};
use crate::fault::Fault;

/// What all streams of bays are called, before the bay's name.
pub const BAY_PREFIX: &str = "bay/";

impl Shop {
    /// Returns a bay as it is now; one without records is as good as any.
    ///
    /// # Errors
    /// The store's fault, or records that tell no bay.
    pub fn bay(&self, name: &BayName) -> Result<Loaded<BayState>, Fault> {
        let found = self.bays.load(&*self.store, &stream_of_bay(name))?;
        Ok(found.unwrap_or_else(unwritten))
    }

    /// Records the event that `plan` decides on, deciding anew while others are recorded first, and returns
    /// the bay with it.
    ///
    /// `is_same` says which earlier outcome of the same request id is the answer to this request.
    ///
    /// # Errors
    /// What `plan` says, [`baytrim_jobs::Refusal::RequestIdReused`], [`Fault::Contended`], or the store's fault.
    pub fn decide_bay(
        &self,
        name: &BayName,
        author: &Author,
        is_same: &dyn Fn(BayOutcome) -> bool,
        mut plan: impl FnMut(&BayState) -> Result<BayEvent, Fault>,
    ) -> Result<(Loaded<BayState>, BayOutcome), Fault> {
        let stream = stream_of_bay(name);
        let committed = self.commit(&self.bays, &stream, author, |bay| {
            let Some(bay) = bay else {
                return plan(&BayState::default()).map(Step::Record);
            };
            match before(bay, author, is_same)? {
                Some(outcome) => Ok(Step::Repeat(outcome)),
                None => plan(&bay.state).map(Step::Record),
            }
        })?;
        Ok((committed.loaded, committed.outcome))
    }
}

fn unwritten() -> Loaded<BayState> {
    Loaded {
        state: Arc::default(),
        head: Head::EMPTY,
        at: UnixMillis(0),
    }
}

/// Returns the name of a bay's stream.
///
/// # Panics
/// Never: every bay's name is a good part of a stream's.
pub fn stream_of_bay(name: &BayName) -> StreamName {
    StreamName::new(&format!("{BAY_PREFIX}{name}"))
        .expect("a bay's name is a good part of a stream's")
}
