//! Folds of the jobs asked for last, so that most requests read nothing but new records.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use baytrim_ledger::Store;
use baytrim_model::ids::JobId;

use super::{Loaded, load, stream_of};
use crate::fault::InternalFault;
use crate::limits::JOBS_CACHED_MAX;

/// One job's fold; its lock is held while new records are read, so that nobody folds them twice.
type Slot = Arc<Mutex<Option<Loaded>>>;

/// Folds of the jobs asked for last.
#[derive(Default)]
pub(super) struct JobCache {
    slots: Mutex<Slots>,
}

#[derive(Default)]
struct Slots {
    by_job: HashMap<JobId, (Slot, u64)>,
    uses: u64,
}

impl JobCache {
    /// Returns the job as its stream tells it now.
    pub(super) fn load(
        &self,
        store: &dyn Store,
        id: &JobId,
    ) -> Result<Option<Loaded>, InternalFault> {
        let slot = self.slot(id);
        let mut cached = lock(&slot);
        // Taken out: after an error the next caller folds from the first record.
        let job = load::catch_up(store, &stream_of(id), cached.take())?;
        cached.clone_from(&job);
        drop(cached);
        if job.is_none() {
            lock(&self.slots).by_job.remove(id);
        }
        Ok(job)
    }

    fn slot(&self, id: &JobId) -> Slot {
        let mut slots = lock(&self.slots);
        slots.uses += 1;
        let now = slots.uses;
        if let Some((slot, used)) = slots.by_job.get_mut(id) {
            *used = now;
            return Arc::clone(slot);
        }
        if slots.by_job.len() >= JOBS_CACHED_MAX {
            let oldest = slots.by_job.iter().min_by_key(|(_, (_, used))| *used);
            if let Some(oldest) = oldest.map(|(id, _)| id.clone()) {
                slots.by_job.remove(&oldest);
            }
        }
        let slot = Slot::default();
        slots.by_job.insert(id.clone(), (Arc::clone(&slot), now));
        slot
    }
}

/// Nothing that holds these locks leaves their content half-way when it panics.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
