//! What was changed in the tables by other hands is found.

use std::io::Read as _;

use baytrim_ledger::{BlobError, BlobId, Head, Store as _, StoreFault, StreamName};

use crate::support::Place;

/// If this fails, a record that was changed, cut out or moved in the tables passes for what was written.
#[test]
fn changed_records_are_found() {
    let changes = [
        (
            "update baytrim_record set body = 'x' where seq = 1",
            Some(1),
        ),
        ("delete from baytrim_record where seq = 1", Some(2)),
        ("delete from baytrim_record where seq = 0", Some(1)),
        (
            "update baytrim_record set hash = prev where seq = 2",
            Some(2),
        ),
        ("update baytrim_record set seq = 9 where seq = 2", Some(9)),
        (
            "update baytrim_record set body = '', hash = '' where seq = 0",
            Some(0),
        ),
    ];
    for (change, seq) in changes {
        let place = Place::new();
        let (store, _) = place.open();
        let stream: StreamName = "job/a".parse().expect("a name");
        let bodies = [b"one".to_vec(), b"two".to_vec(), b"three".to_vec()];
        store
            .append(&stream, &Head::EMPTY, &bodies)
            .expect("appends");
        assert!(store.verify(&mut |_| ()).expect("looks").is_sound());
        place.sql(change);
        let found = store.verify(&mut |_| ()).expect("looks").first_damage;
        assert_eq!(found.expect(change).seq, seq, "{change}");
    }
}

/// If this fails, a blob whose parts were changed is handed out as what was written.
#[test]
fn changed_blobs_are_found() {
    let changes = [
        "update baytrim_blob_part set bytes = 'x' where number = 1",
        "delete from baytrim_blob_part where number = 2",
        "update baytrim_blob set length = length - 1",
    ];
    for change in changes {
        let place = Place::new();
        let (store, _) = place.open();
        let content: Vec<u8> = (0..700_000_u32).flat_map(u32::to_le_bytes).collect();
        let id = store.put_blob(&content).expect("puts");
        assert_eq!(id, BlobId::of(&content));
        let mut found = Vec::new();
        let mut reader = store.open_blob(&id).expect("opens");
        reader.read_to_end(&mut found).expect("reads");
        assert!(found == content);
        place.sql(change);
        let read = store.read_blob(&id, u64::MAX);
        assert!(
            matches!(read, Err(BlobError::Fault(StoreFault::Damaged(_)))),
            "{change}"
        );
        assert_eq!(
            store.verify(&mut |_| ()).expect("looks").damage_count,
            1,
            "{change}"
        );
    }
}

/// If this fails, a spool with a hole in it is taken for whole.
#[test]
fn spools_with_holes_are_found() {
    let place = Place::new();
    let (store, _) = place.open();
    let spool: StreamName = "live/a".parse().expect("a name");
    for number in 0..3 {
        store
            .spool_append(&spool, number, b"chunk")
            .expect("appends");
    }
    place.sql("delete from baytrim_chunk where number = 1");
    assert_eq!(store.verify(&mut |_| ()).expect("looks").damage_count, 1);
}
