//! What the tests of the local store share.

use std::fs;
use std::path::Path;
use std::sync::Arc;

use baytrim_ledger::{Store, StreamName};
use baytrim_ledger_local::{LocalStore, OpenReport, Options};
use tempfile::TempDir;

/// Small segments, so that a short history spans several.
pub(crate) fn small() -> Options {
    Options {
        segment_bytes: 2000,
        spool_segment_bytes: 1500,
        index_cache_bytes: 1 << 20,
        ..Options::default()
    }
}

/// Ordinary segments with a small cache.
pub(crate) fn roomy() -> Options {
    Options {
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

/// Returns a temporary directory in memory where there is one: for tests that model the disk themselves.
pub(crate) fn quick_dir() -> TempDir {
    TempDir::new_in("/dev/shm")
        .or_else(|_| TempDir::new())
        .expect("a temporary directory")
}

pub(crate) fn copy_dir(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("creates");
    for entry in fs::read_dir(from).expect("lists") {
        let entry = entry.expect("lists");
        let target = to.join(entry.file_name());
        if entry.file_type().expect("has a type").is_dir() {
            copy_dir(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).expect("copies");
        }
    }
}

/// Is a small random generator (xorshift64*, Vigna 2016), so that a seed gives the same test everywhere.
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    /// Returns a number from 0 up to `end`, without `end`.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() % (end as u64).max(1)).expect("small")
    }
}

/// Returns what the environment says of a long form, else what is usual.
#[expect(
    clippy::disallowed_methods,
    reason = "the environment bounds the long form"
)]
pub(crate) fn setting(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| text.parse().expect("a whole number"))
}
