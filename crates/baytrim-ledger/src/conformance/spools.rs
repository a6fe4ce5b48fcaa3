//! Spools: chunks in order, resumable, forgotten when dropped.

use super::{Fixture, assert_sound, name};
use crate::error::SpoolError;
use crate::limits::{CHUNK_BYTES_MAX, READ_BYTES_MAX};

/// Chunks come back in order; whoever sends the wrong one is told which is next, after reopening too.
pub fn spools_keep_their_order(fixture: &mut dyn Fixture) {
    let spool = name("pulls/p-1");
    assert_eq!(fixture.store().spool_len(&spool).expect("reads"), 0);
    for number in 0..10_u64 {
        let chunk = vec![0xa5; usize::try_from(number * 100).expect("small")];
        assert_eq!(
            fixture
                .store()
                .spool_append(&spool, number, &chunk)
                .expect("appends"),
            number + 1
        );
        for wrong in [number, number + 2, u64::MAX] {
            match fixture.store().spool_append(&spool, wrong, b"wrong") {
                Err(SpoolError::Conflict { next, .. }) => assert_eq!(next, number + 1),
                other => panic!("{other:?}"),
            }
        }
    }
    fixture.reopen();
    let store = fixture.store();
    assert_eq!(store.spool_len(&spool).expect("reads"), 10);
    let chunks = store.spool_read(&spool, 3, 4).expect("reads");
    assert_eq!(
        chunks
            .iter()
            .map(|(n, chunk)| (*n, chunk.len()))
            .collect::<Vec<_>>(),
        [(3, 300), (4, 400), (5, 500), (6, 600)]
    );
    assert!(store.spool_read(&spool, 10, 4).expect("reads").is_empty());
    assert_eq!(store.spool_append(&spool, 10, b"").expect("goes on"), 11);
    let too_large = store.spool_append(&spool, 11, &vec![0; CHUNK_BYTES_MAX + 1]);
    assert!(matches!(too_large, Err(SpoolError::TooLarge { .. })));
    for number in 11..21 {
        store
            .spool_append(&spool, number, &vec![1; CHUNK_BYTES_MAX])
            .expect("appends");
    }
    assert_eq!(
        store.spool_read(&spool, 11, 99).expect("reads").len(),
        READ_BYTES_MAX / CHUNK_BYTES_MAX
    );
    assert_sound(&*store);
}

/// Chunks appended together come back one by one, and none of them is in when the first is not the next.
pub fn chunks_are_appended_together(fixture: &mut dyn Fixture) {
    let spool = name("pulls/p-1");
    let chunks: Vec<Vec<u8>> = (0..20).map(|number| vec![number; 3]).collect();
    let store = fixture.store();
    let append = |next, chunks| store.spool_append_all(&spool, next, chunks);
    assert_eq!(append(0, &chunks[..7]).expect("appends"), 7);
    assert_eq!(append(7, &[]).expect("nothing to do"), 7);
    match append(6, &chunks[7..]) {
        Err(SpoolError::Conflict { next, .. }) => assert_eq!(next, 7),
        other => panic!("{other:?}"),
    }
    assert_eq!(append(7, &chunks[7..]).expect("appends"), 20);
    drop(store);
    fixture.reopen();
    let store = fixture.store();
    let found = store.spool_read(&spool, 0, 99).expect("reads");
    let expected: Vec<_> = (0..).zip(chunks).collect();
    assert_eq!(found, expected);
    assert_sound(&*store);
}

/// A dropped spool is gone and its name starts again from 0; others stay.
pub fn spools_are_dropped_whole(fixture: &mut dyn Fixture) {
    let (kept, dropped) = (name("pulls/kept"), name("pulls/dropped"));
    for number in 0..3 {
        fixture
            .store()
            .spool_append(&kept, number, b"kept")
            .expect("appends");
        fixture
            .store()
            .spool_append(&dropped, number, b"dropped")
            .expect("appends");
    }
    for _ in 0..2 {
        fixture.store().spool_drop(&dropped).expect("drops");
        fixture
            .store()
            .spool_drop(&name("pulls/never"))
            .expect("is idempotent");
        assert_eq!(
            fixture.store().spools().expect("lists"),
            [(kept.clone(), 3)]
        );
        assert_eq!(fixture.store().spool_len(&dropped).expect("reads"), 0);
        assert!(
            fixture
                .store()
                .spool_read(&dropped, 0, 9)
                .expect("reads")
                .is_empty()
        );
        fixture.reopen();
        assert_eq!(
            fixture.store().spools().expect("lists"),
            [(kept.clone(), 3)]
        );
    }
    fixture
        .store()
        .spool_append(&dropped, 0, b"anew")
        .expect("appends");
    fixture.reopen();
    assert_eq!(
        fixture.store().spool_read(&dropped, 0, 9).expect("reads"),
        [(0, b"anew".to_vec())]
    );
    assert_eq!(
        fixture.store().spools().expect("lists"),
        [(dropped, 1), (kept, 3)]
    );
    assert_sound(&*fixture.store());
}
