//! Blobs: named by their content, written once, nothing half-way.

use std::io::Read as _;

use super::{Fixture, assert_sound};
use crate::blob::BlobId;
use crate::error::BlobError;

/// Content comes back byte for byte under its SHA-256, whatever the chunks; twice the same is one blob.
pub fn blobs_are_named_by_content(fixture: &mut dyn Fixture) {
    let long: Vec<u8> = (0..300_000_u32).flat_map(u32::to_le_bytes).collect();
    let mut ids = Vec::new();
    for content in [&b""[..], b"abc", &long] {
        let mut writer = fixture.store().begin_blob().expect("begins");
        for chunk in content.chunks(70_001) {
            writer.write(chunk).expect("writes");
        }
        let id = writer.commit().expect("commits");
        assert_eq!(id, BlobId::of(content));
        assert_eq!(
            fixture.store().put_blob(content).expect("again is fine"),
            id
        );
        ids.push(id);
    }
    fixture.reopen();
    let store = fixture.store();
    assert_eq!(store.read_blob(&ids[0], 0).expect("reads"), b"");
    assert_eq!(store.read_blob(&ids[1], 3).expect("reads"), b"abc");
    let mut reader = store.open_blob(&ids[2]).expect("opens");
    assert_eq!(reader.len(), long.len() as u64);
    let mut found = Vec::new();
    reader.read_to_end(&mut found).expect("reads");
    assert_eq!(found, long);
    assert!(matches!(
        store.read_blob(&ids[2], 100),
        Err(BlobError::TooLarge { max: 100, .. })
    ));
    let missing = BlobId::of(b"never written");
    assert!(matches!(store.open_blob(&missing), Err(BlobError::Missing { id }) if id == missing));
    assert_sound(&*store);
}

/// Blobs are listed in the order of their names, page by page.
pub fn blobs_list_in_order(fixture: &mut dyn Fixture) {
    let store = fixture.store();
    let mut expected: Vec<(BlobId, u64)> = (0..20_u8)
        .map(|n| (BlobId::of(&vec![n; n.into()]), n.into()))
        .collect();
    for n in 0..20_u8 {
        store.put_blob(&vec![n; n.into()]).expect("puts");
    }
    expected.sort();
    assert_eq!(store.blobs(None, 99).expect("lists"), expected);
    assert_eq!(
        store.blobs(Some(&expected[6].0), 5).expect("lists"),
        expected[7..12]
    );
    assert!(
        store
            .blobs(Some(&expected[19].0), 5)
            .expect("lists")
            .is_empty()
    );
}

/// A writer dropped before commit leaves no blob.
pub fn dropped_blob_leaves_nothing(fixture: &mut dyn Fixture) {
    let mut writer = fixture.store().begin_blob().expect("begins");
    writer.write(b"half").expect("writes");
    drop(writer);
    fixture.reopen();
    assert!(fixture.store().blobs(None, 9).expect("lists").is_empty());
    assert!(matches!(
        fixture.store().open_blob(&BlobId::of(b"half")),
        Err(BlobError::Missing { .. })
    ));
}
