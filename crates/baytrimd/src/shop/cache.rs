//! Folds of the streams asked for last, so that most requests read nothing but new records.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use baytrim_jobs::Fold;
use baytrim_ledger::{Store, StreamName};
use serde::de::DeserializeOwned;

use super::{Loaded, load};
use crate::fault::InternalFault;
use crate::limits::FOLDS_CACHED_MAX;

/// One stream's fold; its lock is held while new records are read, so that nobody folds them twice.
type Slot<S> = Arc<Mutex<Option<Loaded<S>>>>;

/// Folds of the streams asked for last, all of one kind.
pub(super) struct FoldCache<S> {
    slots: Mutex<Slots<S>>,
}

struct Slots<S> {
    by_stream: HashMap<StreamName, (Slot<S>, u64)>,
    uses: u64,
}

impl<S> Default for FoldCache<S> {
    fn default() -> Self {
        let slots = Slots {
            by_stream: HashMap::new(),
            uses: 0,
        };
        Self {
            slots: Mutex::new(slots),
        }
    }
}

impl<S: Fold> FoldCache<S>
where
    S::Event: DeserializeOwned,
{
    /// Returns what the stream tells now; none while it is empty.
    pub(super) fn load(
        &self,
        store: &dyn Store,
        stream: &StreamName,
    ) -> Result<Option<Loaded<S>>, InternalFault> {
        let slot = self.slot(stream);
        let mut cached = lock(&slot);
        // Taken out: after an error the next caller folds from the first record.
        let loaded = load::catch_up(store, stream, cached.take())?;
        cached.clone_from(&loaded);
        drop(cached);
        if loaded.is_none() {
            lock(&self.slots).by_stream.remove(stream);
        }
        Ok(loaded)
    }

    fn slot(&self, stream: &StreamName) -> Slot<S> {
        let mut slots = lock(&self.slots);
        slots.uses += 1;
        let now = slots.uses;
        if let Some((slot, used)) = slots.by_stream.get_mut(stream) {
            *used = now;
            return Arc::clone(slot);
        }
        if slots.by_stream.len() >= FOLDS_CACHED_MAX {
            let oldest = slots.by_stream.iter().min_by_key(|(_, (_, used))| *used);
            if let Some(oldest) = oldest.map(|(stream, _)| stream.clone()) {
                slots.by_stream.remove(&oldest);
            }
        }
        let slot = Slot::<S>::default();
        let entry = (Arc::clone(&slot), now);
        slots.by_stream.insert(stream.clone(), entry);
        slot
    }
}

/// Nothing that holds these locks leaves their content half-way when it panics.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
