//! Claims on heavy work: of all requests, at all daemons, that want the same proposal of the same head computed, one
//! computes it and the others wait.
//!
//! A claim saves work and decides nothing: what is recorded is decided by the append alone. Between daemons it is a
//! spool for each head, since a chunk has one winner too; a later chunk takes over from a daemon that is gone.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

use baytrim_ledger::{SpoolError, Store, StreamName};

use crate::fault::Fault;
use crate::limits::{CLAIM_LOOK, CLAIM_PATIENCE};

/// What all spools of claims are called, before the stream's name.
const PREFIX: &str = "claim/";

/// Claims within this daemon: one lock for each stream that somebody claims.
#[derive(Debug, Default)]
pub(crate) struct Claims {
    here: Mutex<HashMap<StreamName, Arc<Mutex<()>>>>,
}

impl Claims {
    /// Does `work` while nobody else does such work for the same stream, waiting for those who do. `work` must look at
    /// the stream anew: those who were waited for have recorded what they computed.
    pub(crate) fn alone<T>(
        &self,
        store: &dyn Store,
        stream: &StreamName,
        work: impl FnOnce() -> Result<T, Fault>,
    ) -> Result<T, Fault> {
        let turn = Arc::clone(lock(&self.here).entry(stream.clone()).or_default());
        let held = lock(&turn);
        let ended = if store.is_shared() {
            alone_among_daemons(store, stream, CLAIM_PATIENCE, work)
        } else {
            work()
        };
        drop(held);
        let mut here = lock(&self.here);
        // This one and the table's: nobody waits.
        if Arc::strong_count(&turn) == 2 {
            here.remove(stream);
        }
        ended
    }
}

/// Nothing that holds these locks leaves their content half-way when it panics.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

fn alone_among_daemons<T>(
    store: &dyn Store,
    stream: &StreamName,
    patience: Duration,
    work: impl FnOnce() -> Result<T, Fault>,
) -> Result<T, Fault> {
    let (mut waited, mut before) = (Duration::ZERO, (0, 0));
    let spool = loop {
        let head = store.head(stream)?.next_seq;
        // Each head has a spool of its own, so that whoever is done takes nobody else's claim away.
        let Ok(spool) = StreamName::new(&format!("{PREFIX}{stream}/{head}")) else {
            return work();
        };
        let next = store.spool_len(&spool)?;
        if (head, next) != before {
            (waited, before) = (Duration::ZERO, (head, next));
        }
        if next > 0 && waited < patience {
            thread::sleep(CLAIM_LOOK);
            waited += CLAIM_LOOK;
            continue;
        }
        if next > 0 {
            tracing::warn!(%stream, "another daemon has claimed a proposal and not recorded it; computing it here");
        }
        match store.spool_append(&spool, next, b"") {
            Ok(_) if store.head(stream)?.next_seq == head => break spool,
            // Claimed too late: that head is done with.
            Ok(_) => store.spool_drop(&spool)?,
            Err(SpoolError::Conflict { .. }) => {}
            Err(other) => return Err(other.into()),
        }
    };
    let ended = work();
    if let Err(error) = store.spool_drop(&spool) {
        tracing::warn!(%spool, %error, "a claim stays; it holds nobody up once the head has moved on");
    }
    ended
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicU32, Ordering};

    use baytrim_ledger::{Head, MemoryStore};

    use super::*;

    fn name(text: &str) -> StreamName {
        text.parse().expect("a name")
    }

    /// If this fails, two daemons do the same heavy work at once, or one waits for a daemon that is done.
    #[test]
    fn one_works_while_others_wait() {
        let store = MemoryStore::new();
        let stream = name("job/j");
        let working = AtomicU32::new(0);
        thread::scope(|scope| {
            for number in 0..4_u8 {
                let (store, stream, working) = (&store, &stream, &working);
                scope.spawn(move || {
                    alone_among_daemons(store, stream, CLAIM_PATIENCE, || {
                        assert_eq!(working.fetch_add(1, Ordering::SeqCst), 0);
                        thread::sleep(Duration::from_millis(20));
                        let head = store.head(stream)?;
                        working.fetch_sub(1, Ordering::SeqCst);
                        store.append(stream, &head, &[vec![number]])?;
                        Ok(())
                    })
                    .expect("works");
                });
            }
        });
        assert_eq!(store.head(&stream).expect("reads").next_seq, 4);
        assert!(store.spools().expect("lists").is_empty());
    }

    /// If this fails, a daemon that was killed in the middle of its work keeps all others from it.
    #[test]
    fn a_claim_that_nobody_keeps_is_taken_over() {
        let store = MemoryStore::new();
        let stream = name("job/j");
        store
            .append(&stream, &Head::EMPTY, &[b"one".to_vec()])
            .expect("appends");
        store
            .spool_append(&name("claim/job/j/1"), 0, b"")
            .expect("claims");
        let patience = Duration::from_millis(300);
        alone_among_daemons(&store, &stream, patience, || Ok(())).expect("works");
        // One for a head that has moved on holds nobody up.
        store
            .spool_append(&name("claim/job/j/0"), 0, b"")
            .expect("claims");
        alone_among_daemons(&store, &stream, Duration::MAX, || Ok(())).expect("works");
    }
}
