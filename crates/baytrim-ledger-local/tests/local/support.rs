//! What the tests of the local store share.

use std::path::Path;
use std::sync::Arc;

use baytrim_ledger::{Store, StreamName};
use baytrim_ledger_local::{LocalStore, OpenReport, Options};

/// Small segments, so that a short history spans several.
pub(crate) fn small() -> Options {
    Options {
        segment_bytes: 2000,
        spool_segment_bytes: 1500,
        index_cache_bytes: 1 << 20,
        ..Options::default()
    }
}

pub(crate) fn name(text: &str) -> StreamName {
    text.parse().expect("a good name")
}

pub(crate) fn open(dir: &Path, options: &Options) -> (Arc<dyn Store>, OpenReport) {
    let (store, report) = LocalStore::open(dir, options).expect("opens");
    (Arc::new(store), report)
}
