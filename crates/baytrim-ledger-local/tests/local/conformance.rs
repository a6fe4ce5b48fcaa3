//! The suite for all stores, on directories with small and with ordinary segments.

use std::sync::Arc;

use baytrim_ledger::Store;
use baytrim_ledger::conformance::Fixture;
use baytrim_ledger_local::Options;
use tempfile::TempDir;

use crate::support::open;

struct Directory {
    store: Option<Arc<dyn Store>>,
    options: Options,
    dir: TempDir,
}

impl Directory {
    fn new(options: Options) -> Self {
        let dir = TempDir::new().expect("a temporary directory");
        let store = Some(open(dir.path(), &options).0);
        Self {
            store,
            options,
            dir,
        }
    }
}

impl Fixture for Directory {
    fn store(&self) -> Arc<dyn Store> {
        Arc::clone(self.store.as_ref().expect("open"))
    }

    fn reopen(&mut self) {
        let store = self.store.take().expect("open");
        assert_eq!(
            Arc::strong_count(&store),
            1,
            "somebody still holds the store"
        );
        drop(store);
        self.store = Some(open(self.dir.path(), &self.options).0);
    }
}

mod small_segments {
    use super::Directory;
    use crate::support::small;

    baytrim_ledger::conformance_tests!(|| Directory::new(small()));
}

mod ordinary_segments {
    use super::Directory;
    use baytrim_ledger_local::Options;

    baytrim_ledger::conformance_tests!(|| Directory::new(Options::default()));
}
