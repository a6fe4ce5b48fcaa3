//! Which live pulls are connected: one connection per pull, the newest one.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::{Mutex as Gate, OwnedMutexGuard, OwnedSemaphorePermit, Semaphore, watch};

use super::StreamFault;
use crate::fault::Fault;

/// The live pulls that are connected.
#[derive(Debug, Clone)]
pub struct Streams {
    permits: Arc<Semaphore>,
    permits_max: usize,
    live: Arc<Mutex<Live>>,
}

#[derive(Debug, Default)]
struct Live {
    by_request: HashMap<String, Entry>,
    count: u64,
}

#[derive(Debug)]
struct Entry {
    number: u64,
    supersede: watch::Sender<bool>,
    gate: Arc<Gate<()>>,
}

/// The right to write one live pull; another that wants it waits until this is dropped.
#[derive(Debug)]
pub(super) struct Claim {
    request_id: String,
    number: u64,
    live: Arc<Mutex<Live>>,
    superseded: watch::Receiver<bool>,
    _turn: OwnedMutexGuard<()>,
}

impl Streams {
    /// Returns a registry with room for `streams_max` live pulls at once.
    pub fn new(streams_max: usize) -> Self {
        Self {
            permits: Arc::new(Semaphore::new(streams_max)),
            permits_max: streams_max,
            live: Arc::default(),
        }
    }

    /// Takes a live pull over from whoever is connected to it, and waits until they have let go.
    ///
    /// # Errors
    /// [`StreamFault::Superseded`] when a yet newer connection comes meanwhile.
    pub(super) async fn claim(&self, request_id: &str) -> Result<Claim, Fault> {
        let request_id = request_id.to_ascii_lowercase();
        let (number, gate, mut superseded) = self.enter(&request_id);
        let turn = tokio::select! {
            turn = gate.lock_owned() => turn,
            _ = superseded.wait_for(|superseded| *superseded) => {
                return Err(StreamFault::Superseded { durable: 0 }.into());
            }
        };
        Ok(Claim {
            request_id,
            number,
            live: Arc::clone(&self.live),
            superseded,
            _turn: turn,
        })
    }

    fn enter(&self, request_id: &str) -> (u64, Arc<Gate<()>>, watch::Receiver<bool>) {
        let mut live = lock(&self.live);
        live.count += 1;
        let number = live.count;
        let (supersede, superseded) = watch::channel(false);
        let before = live.by_request.remove(request_id);
        let gate = before.map_or_else(Arc::default, |before| {
            before.supersede.send_replace(true);
            before.gate
        });
        let entry = Entry {
            number,
            supersede,
            gate: Arc::clone(&gate),
        };
        live.by_request.insert(request_id.to_owned(), entry);
        (number, gate, superseded)
    }

    /// Takes room for one more live pull.
    ///
    /// # Errors
    /// [`Fault::Busy`] when there is none.
    pub(super) fn admit(&self) -> Result<OwnedSemaphorePermit, Fault> {
        let permit = Arc::clone(&self.permits).try_acquire_owned();
        permit.map_err(|_| Fault::Busy {
            what: "live pulls",
            max: self.permits_max,
        })
    }
}

impl Claim {
    /// Returns a watch that turns true when a newer connection wants the pull.
    pub(super) fn superseded(&self) -> watch::Receiver<bool> {
        self.superseded.clone()
    }
}

impl Drop for Claim {
    fn drop(&mut self) {
        let mut live = lock(&self.live);
        let is_last = live
            .by_request
            .get(&self.request_id)
            .is_some_and(|entry| entry.number == self.number);
        if is_last {
            live.by_request.remove(&self.request_id);
        }
    }
}

fn lock(live: &Mutex<Live>) -> MutexGuard<'_, Live> {
    live.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use tokio_test::task::spawn;
    use tokio_test::{assert_pending, assert_ready_err, assert_ready_ok};

    use super::*;

    /// If this fails, two connections hold one pull at once, or the newest does not get it in the end.
    #[test]
    fn the_newest_connection_gets_the_pull_once_the_older_lets_go() {
        let streams = Streams::new(4);
        let mut first = spawn(streams.claim("pull-0001"));
        let first = assert_ready_ok!(first.poll());
        assert!(!*first.superseded().borrow());
        let mut second = spawn(streams.claim("PULL-0001"));
        assert_pending!(second.poll());
        assert!(*first.superseded().borrow());
        let mut third = spawn(streams.claim("pull-0001"));
        assert_pending!(third.poll());
        // The second waits for a turn that is not its own any more.
        assert!(second.is_woken());
        assert_ready_err!(second.poll());
        assert_pending!(third.poll());
        drop(first);
        assert!(third.is_woken());
        let third = assert_ready_ok!(third.poll());
        assert!(!*third.superseded().borrow());
        let mut other = spawn(streams.claim("pull-0002"));
        assert_ready_ok!(other.poll());
        drop(third);
        assert!(
            lock(&streams.live).by_request.is_empty(),
            "a connection that is gone is remembered"
        );
    }
}
