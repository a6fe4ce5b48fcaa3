//! Snapshots: a cache that never speaks for another past.

use super::{Fixture, bodies, name};
use crate::hash::Hash;
use crate::limits::SNAPSHOT_BYTES_MAX;
use crate::record::Head;
use crate::store::Snapshot;

/// A snapshot is handed out only while its head lies in the stream's past, and the later one replaces the earlier.
pub fn snapshots_belong_to_a_past(fixture: &mut dyn Fixture) {
    let store = fixture.store();
    let (stream, fold) = (name("jobs/j-1"), name("tables"));
    assert_eq!(store.snapshot(&stream, &fold).expect("reads"), None);
    let one = store
        .append(&stream, &Head::EMPTY, &bodies(&["a"]))
        .expect("appends");
    let two = store
        .append(&stream, &one, &bodies(&["b", "c"]))
        .expect("appends");
    let sizes = [
        (Head::EMPTY, 0),
        (one, 10),
        (two, SNAPSHOT_BYTES_MAX),
        (one, 200_000),
    ];
    for (at, len) in sizes {
        assert!(
            store
                .put_snapshot(&stream, &fold, &at, &vec![9; len])
                .expect("puts")
        );
        assert_eq!(
            store.snapshot(&stream, &fold).expect("reads"),
            Some(Snapshot {
                at,
                bytes: vec![9; len]
            })
        );
        assert_eq!(
            store.snapshot(&stream, &name("other")).expect("reads"),
            None
        );
        assert_eq!(
            store.snapshot(&name("jobs/j-2"), &fold).expect("reads"),
            None
        );
    }
    let kept = store
        .put_snapshot(&stream, &fold, &two, &vec![9; SNAPSHOT_BYTES_MAX + 1])
        .expect("declines");
    assert!(!kept);

    let elsewhere = [
        Head {
            next_seq: 3,
            hash: Hash::of(b"x"),
        },
        Head {
            next_seq: 9,
            hash: two.hash,
        },
    ];
    for at in elsewhere {
        store
            .put_snapshot(&stream, &fold, &at, b"of another past")
            .expect("puts");
        assert_eq!(store.snapshot(&stream, &fold).expect("reads"), None);
    }
}
