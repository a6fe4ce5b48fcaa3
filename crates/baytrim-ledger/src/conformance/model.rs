//! Random histories against a plain list.

use std::collections::BTreeMap;

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

use super::{Fixture, assert_sound, name, read_all};
use crate::error::{AppendError, SpoolError};
use crate::record::Head;

/// Histories tried: each opens a store, which costs milliseconds on disk.
const CASES: u32 = 64;

#[derive(Debug, Clone)]
enum Step {
    Append {
        stream: usize,
        stale: bool,
        bodies: Vec<Vec<u8>>,
    },
    Spool {
        spool: usize,
        ahead: u64,
        chunk: Vec<u8>,
    },
    Drop {
        spool: usize,
    },
    Blob {
        content: Vec<u8>,
    },
    Reopen,
}

fn step() -> impl Strategy<Value = Step> {
    let body = || prop::collection::vec(any::<u8>(), 0..300);
    prop_oneof![
        6 => (0..4_usize, prop::bool::weighted(0.2), prop::collection::vec(body(), 0..4))
            .prop_map(|(stream, stale, bodies)| Step::Append { stream, stale, bodies }),
        4 => (0..3_usize, prop_oneof![5 => Just(0), 1 => 1..3_u64], body())
            .prop_map(|(spool, ahead, chunk)| Step::Spool { spool, ahead, chunk }),
        1 => (0..3_usize).prop_map(|spool| Step::Drop { spool }),
        1 => body().prop_map(|content| Step::Blob { content }),
        1 => Just(Step::Reopen),
    ]
}

#[derive(Default)]
struct Model {
    streams: BTreeMap<usize, Vec<Vec<u8>>>,
    heads: BTreeMap<usize, Head>,
    spools: BTreeMap<usize, Vec<Vec<u8>>>,
    blobs: Vec<Vec<u8>>,
}

/// Random histories of appends, stale appends, spools, blobs and reopenings give what a plain list gives.
pub fn behaves_as_the_plain_model<F: Fixture>(fresh: impl Fn() -> F) {
    let mut runner = TestRunner::new(Config {
        cases: CASES,
        failure_persistence: None,
        ..Config::default()
    });
    let outcome = runner.run(&prop::collection::vec(step(), 1..40), |steps| {
        let mut fixture = fresh();
        let mut model = Model::default();
        for step in steps {
            take(&mut fixture, &mut model, step);
        }
        compare(&fixture, &model);
        fixture.reopen();
        compare(&fixture, &model);
        Ok(())
    });
    if let Err(failure) = outcome {
        panic!("{failure}");
    }
}

fn take(fixture: &mut dyn Fixture, model: &mut Model, step: Step) {
    let store = fixture.store();
    match step {
        Step::Append {
            stream,
            stale,
            bodies,
        } => {
            let head = model.heads.get(&stream).copied().unwrap_or_default();
            let expected = if stale {
                Head {
                    next_seq: head.next_seq + 1,
                    ..head
                }
            } else {
                head
            };
            match store.append(&name(&format!("s/{stream}")), &expected, &bodies) {
                Ok(after) => {
                    assert!(!stale, "a stale append got in");
                    assert_eq!(after.next_seq, head.next_seq + bodies.len() as u64);
                    if !bodies.is_empty() {
                        model.heads.insert(stream, after);
                        model.streams.entry(stream).or_default().extend(bodies);
                    }
                }
                Err(AppendError::Conflict { head: real, .. }) => assert!(stale && real == head),
                Err(other) => panic!("{other}"),
            }
        }
        Step::Spool {
            spool,
            ahead,
            chunk,
        } => {
            let next = model.spools.get(&spool).map_or(0, Vec::len) as u64;
            match store.spool_append(&name(&format!("p/{spool}")), next + ahead, &chunk) {
                Ok(after) => {
                    assert_eq!((ahead, after), (0, next + 1));
                    model.spools.entry(spool).or_default().push(chunk);
                }
                Err(SpoolError::Conflict { next: real, .. }) => assert!(ahead > 0 && real == next),
                Err(other) => panic!("{other}"),
            }
        }
        Step::Drop { spool } => {
            store
                .spool_drop(&name(&format!("p/{spool}")))
                .expect("drops");
            model.spools.remove(&spool);
        }
        Step::Blob { content } => {
            store.put_blob(&content).expect("puts");
            model.blobs.push(content);
        }
        Step::Reopen => {
            drop(store);
            fixture.reopen();
        }
    }
}

fn compare(fixture: &dyn Fixture, model: &Model) {
    let store = fixture.store();
    for (stream, bodies) in &model.streams {
        let found: Vec<_> = read_all(&*store, &name(&format!("s/{stream}")))
            .into_iter()
            .map(|record| record.body)
            .collect();
        assert_eq!(&found, bodies);
    }
    let listed: Vec<_> = store
        .streams("s/", None, 99)
        .expect("lists")
        .into_iter()
        .map(|(_, head)| head)
        .collect();
    assert_eq!(listed, model.heads.values().copied().collect::<Vec<_>>());
    let spools = store.spools().expect("lists");
    assert_eq!(spools.len(), model.spools.len());
    for (spool, chunks) in &model.spools {
        let found = store
            .spool_read(&name(&format!("p/{spool}")), 0, 999)
            .expect("reads");
        let expected: Vec<_> = (0..).zip(chunks.iter().cloned()).collect();
        assert_eq!(found, expected);
    }
    for content in &model.blobs {
        assert_eq!(
            &store
                .read_blob(&crate::BlobId::of(content), 999)
                .expect("reads"),
            content
        );
    }
    assert_sound(&*store);
}
