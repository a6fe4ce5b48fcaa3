//! What other hands did to objects is found, and what is gone is said to be gone.

use std::future::Future;

use baytrim_ledger::conformance::Fixture as _;
use baytrim_ledger::{BlobError, BlobId, StoreFault};
use object_store::ObjectStore as _;
use object_store::path::Path;

use crate::Both;

fn done<T>(work: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread().build();
    runtime.expect("a runtime").block_on(work)
}

fn place(id: &BlobId) -> Path {
    Path::from(format!("shop/blobs/{id}"))
}

/// If this fails, an object that was changed passes for the log that was recorded, or its loss for nothing.
#[test]
fn changed_objects_are_found() {
    let both = Both::new();
    let store = both.store();
    let content: Vec<u8> = (0..3_000_000_u32).flat_map(u32::to_le_bytes).collect();
    let mut other = content.clone();
    other[9_000_000] ^= 1;
    for bad in [other, content[..content.len() - 1].to_vec(), Vec::new()] {
        let id = store.put_blob(&content).expect("puts");
        assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
        done(both.objects.put(&place(&id), bad.clone().into())).expect("puts");
        let read = store.read_blob(&id, u64::MAX);
        let is_found = matches!(read, Err(BlobError::Fault(StoreFault::Damaged(_))));
        assert!(is_found, "{} bytes: {read:?}", bad.len());
        let report = store.verify(&mut |_| ()).expect("looks");
        assert_eq!((report.blob_count, report.damage_count), (1, 1));
        // What the message says to do helps.
        store.put_blob(&content).expect("puts");
        assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
        store.remove_blob(&id).expect("removes");
        let gone = store.read_blob(&id, u64::MAX);
        assert!(matches!(gone, Err(BlobError::Missing { .. })), "{gone:?}");
        store.remove_blob(&id).expect("it is gone already");
    }
}

/// If this fails, logs from before the bucket are lost to their readers, or one is listed twice.
#[test]
fn blobs_from_before_are_read_from_where_they_are() {
    let both = Both::new();
    let store = both.store();
    let old = both.beneath.put_blob(b"old").expect("puts");
    let new = store.put_blob(b"new").expect("puts");
    let twice = both.beneath.put_blob(b"twice").expect("puts");
    assert_eq!(store.put_blob(b"twice").expect("puts"), twice);
    assert_eq!(store.read_blob(&old, 9).expect("reads"), b"old");
    let mut all = [(old, 3), (new, 3), (twice, 5)];
    all.sort_unstable();
    assert_eq!(store.blobs(None, 9).expect("lists"), all);
    assert_eq!(store.blobs(Some(&all[0].0), 1).expect("lists"), all[1..2]);
    assert!(both.beneath.open_blob(&new).is_err());
}

/// If this fails, what others put beside the blobs hides blobs from lists and proofs, or passes for one.
#[test]
fn what_others_keep_there_is_passed_over() {
    let both = Both::new();
    let store = both.store();
    let id = store.put_blob(b"log").expect("puts");
    let name = id.to_string();
    let others = [
        "0".to_owned(),
        "00".to_owned(),
        format!("!/{name}"),
        name.to_uppercase(),
    ];
    for other in others {
        let place = Path::from(format!("shop/blobs/{other}"));
        done(both.objects.put(&place, "other".into())).expect("puts");
    }
    assert_eq!(store.blobs(None, 1).expect("lists"), [(id, 3)]);
    assert_eq!(store.blobs(None, 9).expect("lists"), [(id, 3)]);
    assert_eq!(store.verify(&mut |_| ()).expect("looks").blob_count, 1);
}
