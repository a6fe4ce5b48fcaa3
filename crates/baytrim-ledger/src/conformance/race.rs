//! Many writers at once: one winner per position, no gap.

use std::thread;

use super::{Fixture, assert_sound, name, read_all};
use crate::error::{AppendError, SpoolError};
use crate::record::Head;
use crate::store::Store;

const WRITERS: usize = 8;
const WINS_EACH: usize = 20;

/// Eight threads compare and append to one stream and to one of their own: each position has one winner.
pub fn race_has_one_winner_per_position(fixture: &mut dyn Fixture) {
    let store = fixture.store();
    let shared = name("jobs/shared");
    let won: Vec<Vec<(u64, Vec<u8>)>> = thread::scope(|scope| {
        let threads: Vec<_> = (0..WRITERS)
            .map(|writer| {
                scope.spawn({
                    let (store, shared) = (&*store, &shared);
                    move || race_records(store, shared, writer)
                })
            })
            .collect();
        threads
            .into_iter()
            .map(|thread| thread.join().expect("no panic"))
            .collect()
    });
    drop(store);
    fixture.reopen();
    let store = fixture.store();
    let records = read_all(&*store, &shared);
    assert_eq!(records.len(), WRITERS * WINS_EACH);
    for (seq, body) in won.into_iter().flatten() {
        assert_eq!(
            records[usize::try_from(seq).expect("small")].body,
            body,
            "position {seq} has two winners"
        );
    }
    for writer in 0..WRITERS {
        assert_eq!(
            read_all(&*store, &name(&format!("own/{writer}"))).len(),
            WINS_EACH
        );
    }
    assert_sound(&*store);
}

fn race_records(
    store: &dyn Store,
    shared: &crate::StreamName,
    writer: usize,
) -> Vec<(u64, Vec<u8>)> {
    let own = name(&format!("own/{writer}"));
    let (mut head, mut own_head) = (Head::EMPTY, Head::EMPTY);
    let mut won = Vec::new();
    while won.len() < WINS_EACH {
        let body = format!("writer {writer}, win {}", won.len()).into_bytes();
        match store.append(shared, &head, std::slice::from_ref(&body)) {
            Ok(after) => {
                won.push((head.next_seq, body.clone()));
                assert!(
                    store.head(shared).expect("reads").next_seq >= after.next_seq,
                    "own write not seen"
                );
                head = after;
                own_head = store
                    .append(&own, &own_head, &[body])
                    .expect("nobody else writes here");
            }
            Err(AppendError::Conflict { head: real, .. }) => {
                assert_ne!(real, head, "a conflict must name another head");
                head = real;
            }
            Err(other) => panic!("{other}"),
        }
    }
    won
}

/// Eight threads append to one spool: each number is taken once.
pub fn spool_race_has_one_winner_per_position(fixture: &mut dyn Fixture) {
    let store = fixture.store();
    let spool = name("pulls/p-1");
    thread::scope(|scope| {
        for writer in 0..WRITERS {
            let (store, spool) = (&*store, &spool);
            scope.spawn(move || {
                let mut next = 0;
                let mut won = 0;
                while won < WINS_EACH {
                    match store.spool_append(spool, next, format!("{writer}:{won}").as_bytes()) {
                        Ok(after) => {
                            assert_eq!(after, next + 1);
                            won += 1;
                            next = after;
                        }
                        Err(SpoolError::Conflict { next: real, .. }) => next = real,
                        Err(other) => panic!("{other}"),
                    }
                }
            });
        }
    });
    let chunks = store.spool_read(&spool, 0, 1000).expect("reads");
    assert_eq!(chunks.len(), WRITERS * WINS_EACH);
    for writer in 0..WRITERS {
        let prefix = format!("{writer}:");
        let own = chunks
            .iter()
            .filter(|(_, chunk)| chunk.starts_with(prefix.as_bytes()));
        let wins: Vec<_> = own
            .map(|(_, chunk)| String::from_utf8_lossy(chunk).into_owned())
            .collect();
        let expected: Vec<_> = (0..WINS_EACH)
            .map(|win| format!("{writer}:{win}"))
            .collect();
        assert_eq!(wins, expected);
    }
}
