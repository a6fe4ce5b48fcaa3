//! Blobs in object storage that is in memory; `tests/s3` has a real server.

mod damage;

use std::sync::Arc;

use baytrim_ledger::conformance::Fixture;
use baytrim_ledger::{MemoryStore, Store};
use baytrim_ledger_objects::{Bucket, WithObjects};
use object_store::ObjectStore;
use object_store::memory::InMemory;

/// A store over a bucket, both in memory.
pub(crate) struct Both {
    pub(crate) beneath: Arc<dyn Store>,
    pub(crate) objects: Arc<dyn ObjectStore>,
    store: Arc<dyn Store>,
}

fn over(beneath: &Arc<dyn Store>, objects: &Arc<dyn ObjectStore>) -> Arc<dyn Store> {
    let bucket = Bucket::over(Arc::clone(objects), "shop").expect("a thread");
    Arc::new(WithObjects::new(Arc::clone(beneath), bucket))
}

impl Both {
    pub(crate) fn new() -> Self {
        let beneath: Arc<dyn Store> = Arc::new(MemoryStore::new());
        let objects: Arc<dyn ObjectStore> = Arc::new(InMemory::new());
        let store = over(&beneath, &objects);
        Self {
            beneath,
            objects,
            store,
        }
    }
}

impl Fixture for Both {
    fn store(&self) -> Arc<dyn Store> {
        Arc::clone(&self.store)
    }

    fn reopen(&mut self) {
        self.store = over(&self.beneath, &self.objects);
    }
}

baytrim_ledger::conformance_tests!(Both::new);
