//! Uploads that are never finished leave nothing for long.

use baytrim_ledger::{BlobId, Store as _};

use crate::support::Place;

/// If this fails, uploads that broke off fill the database, or what is being uploaded is taken from under its writer.
#[test]
fn uploads_that_broke_off_are_forgotten_after_days() {
    let place = Place::new();
    let (store, _) = place.open();
    let content = vec![7; 3 << 20];
    let kept = store.put_blob(&content).expect("puts");
    let mut young = store.begin_blob().expect("begins");
    young.write(&vec![8; 2_500_000]).expect("writes");
    let mut old = store.begin_blob().expect("begins");
    old.write(&vec![9; 2_500_000]).expect("writes");
    let parts = "select count(*) from baytrim_blob_part";
    assert_eq!(place.count(parts), 3 + 2 + 2);
    // As if it had been begun three days ago by a program that was killed.
    place.sql("update baytrim_upload set at = now() - interval '3 days' where upload in (select upload from baytrim_blob_part where number = 0 and get_byte(bytes, 0) = 9)");
    std::mem::forget(old);
    assert_eq!(place.open().1.uploads_forgotten, 1);
    assert_eq!(place.count(parts), 3 + 2);
    let id = young.commit().expect("commits");
    assert_eq!(id, BlobId::of(&vec![8; 2_500_000]));
    assert_eq!(store.read_blob(&kept, u64::MAX).expect("reads"), content);
    assert_eq!(place.count("select count(*) from baytrim_upload"), 0);
}

/// If this fails, uploading the same log again and again keeps every copy.
#[test]
fn the_same_content_is_kept_once() {
    let place = Place::new();
    let (store, _) = place.open();
    for _ in 0..3 {
        store.put_blob(&vec![7; 3 << 20]).expect("puts");
        store.put_blob(b"small").expect("puts");
    }
    assert_eq!(place.count("select count(*) from baytrim_blob_part"), 3 + 1);
    assert_eq!(place.count("select count(*) from baytrim_blob"), 2);
}
