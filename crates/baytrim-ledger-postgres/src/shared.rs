//! What the store and its readers and writers of blobs share.

use std::future::Future;
use std::pin::pin;
use std::sync::Arc;
use std::task::{Context, Poll, Wake, Waker};
use std::thread::{self, Thread};
use std::time::Duration;

use tokio::runtime::Runtime;

use crate::pool::Pool;
use crate::seen::Seen;

/// What the store and its readers and writers of blobs share.
pub(crate) struct Shared {
    pub(crate) pool: Pool,
    pub(crate) patience: Duration,
    pub(crate) seen: Seen,
    /// Drives the connections; gone only while this is dropped.
    runtime: Option<Runtime>,
}

impl Shared {
    pub(crate) fn new(pool: Pool, patience: Duration, runtime: Runtime) -> Self {
        Self {
            pool,
            patience,
            seen: Seen::default(),
            runtime: Some(runtime),
        }
    }

    /// Waits for `work` on this thread; connections and timers work on the store's own threads meanwhile.
    ///
    /// Unlike a runtime's own waiting it may be called from a thread that belongs to another runtime.
    pub(crate) fn wait<T>(&self, work: impl Future<Output = T>) -> T {
        let _entered = self.runtime.as_ref().map(Runtime::enter);
        wait(work)
    }
}

impl Drop for Shared {
    fn drop(&mut self) {
        self.pool.close_idle();
        if let Some(runtime) = self.runtime.take() {
            // Waiting for it would be wrong on a thread of another runtime, and there is nothing to wait for.
            runtime.shutdown_background();
        }
    }
}

struct Unpark(Thread);

impl Wake for Unpark {
    fn wake(self: Arc<Self>) {
        self.0.unpark();
    }
}

fn wait<T>(work: impl Future<Output = T>) -> T {
    let mut work = pin!(work);
    let waker = Waker::from(Arc::new(Unpark(thread::current())));
    let mut context = Context::from_waker(&waker);
    loop {
        match work.as_mut().poll(&mut context) {
            Poll::Ready(value) => return value,
            Poll::Pending => thread::park(),
        }
    }
}
