//! Things that were read, kept in memory up to a number of bytes; what was not used for longest goes first.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use prometheus_client::metrics::gauge::Gauge;

/// Things used lately, by name.
#[derive(Debug)]
pub(crate) struct Recent<T> {
    held: Mutex<Held<T>>,
    bytes_max: usize,
    /// Told the bytes of all.
    cached: Gauge,
}

#[derive(Debug)]
struct Held<T> {
    by_name: HashMap<String, Entry<T>>,
    bytes: usize,
    uses: u64,
}

#[derive(Debug)]
struct Entry<T> {
    thing: Arc<T>,
    bytes: usize,
    used: u64,
}

impl<T> Recent<T> {
    /// Returns room for `bytes_max` bytes, or for one thing that is larger; `cached` is told how many there are.
    pub(crate) fn new(bytes_max: usize, cached: Gauge) -> Self {
        let held = Held {
            by_name: HashMap::new(),
            bytes: 0,
            uses: 0,
        };
        Self {
            held: Mutex::new(held),
            bytes_max,
            cached,
        }
    }

    /// Returns the thing of that name, which counts as used now.
    pub(crate) fn get(&self, name: &str) -> Option<Arc<T>> {
        let mut held = self.held();
        held.uses += 1;
        let now = held.uses;
        let entry = held.by_name.get_mut(name)?;
        entry.used = now;
        Some(Arc::clone(&entry.thing))
    }

    /// Keeps a thing of so many bytes, in place of what had its name.
    pub(crate) fn put(&self, name: String, thing: Arc<T>, bytes: usize) {
        let mut held = self.held();
        held.uses += 1;
        let used = held.uses;
        held.bytes += bytes;
        let entry = Entry { thing, bytes, used };
        if let Some(before) = held.by_name.insert(name, entry) {
            held.bytes -= before.bytes;
        }
        while held.bytes > self.bytes_max && held.by_name.len() > 1 {
            let oldest = held.by_name.iter().min_by_key(|(_, entry)| entry.used);
            let Some(oldest) = oldest.map(|(name, _)| name.clone()) else {
                break;
            };
            if let Some(entry) = held.by_name.remove(&oldest) {
                held.bytes -= entry.bytes;
            }
        }
        self.cached
            .set(i64::try_from(held.bytes).unwrap_or(i64::MAX));
    }

    /// Nothing that holds this lock leaves its content half-way when it panics.
    fn held(&self) -> MutexGuard<'_, Held<T>> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use prometheus_client::metrics::gauge::Gauge;

    use super::Recent;

    /// If this fails, memory grows without bound, or what is looked at again and again is read again each time.
    #[test]
    fn what_was_not_used_for_longest_goes_first() {
        let cached = Gauge::default();
        let recent = Recent::new(10, cached.clone());
        for (name, bytes) in [("a", 4), ("b", 4)] {
            recent.put(name.to_owned(), Arc::new(bytes), bytes);
        }
        assert!(recent.get("a").is_some());
        recent.put("c".to_owned(), Arc::new(5), 5);
        let there = ["a", "b", "c"].map(|name| recent.get(name).is_some());
        assert_eq!((there, cached.get()), ([true, false, true], 9));
        recent.put("c".to_owned(), Arc::new(1), 1);
        assert_eq!((recent.get("c").as_deref(), cached.get()), (Some(&1), 5));
        recent.put("huge".to_owned(), Arc::new(99), 99);
        assert_eq!((recent.get("a"), cached.get()), (None, 99));
        assert!(recent.get("huge").is_some(), "one is kept, however large");
    }
}
