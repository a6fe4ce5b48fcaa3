//! Blobs on a real server that speaks S3, which `tests/postgres/objects.sh` starts.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use baytrim_ledger::conformance::Fixture;
use baytrim_ledger::{BlobError, MemoryStore, Store, StoreFault};
use baytrim_ledger_objects::{Bucket, BucketError, WithObjects};

static FOLDERS: AtomicU32 = AtomicU32::new(0);

/// The settings that the script tells, but for those that are given here.
#[expect(
    clippy::disallowed_methods,
    reason = "the script tells the tests where its server is"
)]
fn bucket(folder: &str, other: &[(&str, &str)]) -> Result<Bucket, BucketError> {
    let url = std::env::var("BAYTRIM_TEST_S3");
    let url = url.expect("BAYTRIM_TEST_S3 is set; run tests/postgres/objects.sh");
    let settings = std::env::vars().filter(|(name, _)| name.starts_with("AWS_"));
    let other = other
        .iter()
        .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()));
    Bucket::at(&format!("{url}/{folder}"), settings.chain(other))
}

struct OnServer {
    beneath: Arc<dyn Store>,
    folder: String,
    store: Arc<dyn Store>,
}

impl OnServer {
    fn new() -> Self {
        let number = FOLDERS.fetch_add(1, Ordering::Relaxed);
        let folder = format!("f{}/{number}", std::process::id());
        let beneath: Arc<dyn Store> = Arc::new(MemoryStore::new());
        let store = open(&beneath, &folder);
        Self {
            beneath,
            folder,
            store,
        }
    }
}

fn open(beneath: &Arc<dyn Store>, folder: &str) -> Arc<dyn Store> {
    let bucket = bucket(folder, &[]).expect("a good address");
    Arc::new(WithObjects::new(Arc::clone(beneath), bucket))
}

impl Fixture for OnServer {
    fn store(&self) -> Arc<dyn Store> {
        Arc::clone(&self.store)
    }

    fn reopen(&mut self) {
        self.store = open(&self.beneath, &self.folder);
    }
}

baytrim_ledger::conformance_tests!(OnServer::new);

/// If this fails, logs larger than a part are not whole on the server, or one that is dropped half-way is there.
#[test]
fn large_logs_go_in_parts() {
    let server = OnServer::new();
    let content: Vec<u8> = (0..5_000_000_u32).flat_map(u32::to_le_bytes).collect();
    for _ in 0..2 {
        let id = server.store.put_blob(&content).expect("puts");
        let read = server.store.read_blob(&id, u64::MAX).expect("reads");
        assert!(read == content);
        assert!(server.store.verify(&mut |_| ()).expect("looks").is_sound());
    }
    assert_eq!(server.store.blobs(None, 9).expect("lists").len(), 1);
}

/// If this fails, many daemons that bring the same log at once spoil it, or one of them is told that it failed.
#[test]
fn the_same_log_may_come_from_everywhere_at_once() {
    let server = OnServer::new();
    std::thread::scope(|scope| {
        for _ in 0..8 {
            scope.spawn(|| {
                let store = open(&server.beneath, &server.folder);
                store.put_blob(&vec![7; 100_000]).expect("puts");
            });
        }
    });
    let report = server.store.verify(&mut |_| ()).expect("looks");
    assert_eq!((report.blob_count, report.damage_count), (1, 0));
}

/// If this fails, a bucket that can't be reached is taken for one that lacks a log.
#[test]
fn a_bucket_that_is_away_is_not_an_empty_one() {
    let beneath: Arc<dyn Store> = Arc::new(MemoryStore::new());
    // Nobody listens at this port (RFC 863's, of a service that this machine doesn't have).
    let bucket = bucket("away", &[("AWS_ENDPOINT", "http://127.0.0.1:9")]).expect("a good address");
    let store = WithObjects::new(beneath, bucket);
    let put = store.put_blob(b"log");
    assert!(
        matches!(put, Err(BlobError::Fault(StoreFault::Away { .. }))),
        "{put:?}"
    );
    let id = baytrim_ledger::BlobId::of(b"log");
    let opened = store.open_blob(&id).map(drop);
    assert!(
        matches!(opened, Err(BlobError::Fault(StoreFault::Away { .. }))),
        "{opened:?}"
    );
}
