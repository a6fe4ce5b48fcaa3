//! A history of writes, and the check that a store holds some true past of it.

use std::collections::BTreeMap;

use baytrim_ledger::{AppendError, BlobError, BlobId, Head, SpoolError, Store, StoreFault};

use crate::support::{Random, name};

/// Is one write.
#[derive(Debug, Clone)]
pub(crate) enum Write {
    Append {
        stream: String,
        bodies: Vec<Vec<u8>>,
    },
    Chunk {
        spool: String,
        bytes: Vec<u8>,
    },
    Drop {
        spool: String,
    },
    Blob {
        content: Vec<u8>,
    },
}

/// Makes a history of about `count` writes to three streams and two spools, every one with content of its own.
pub(crate) fn history(seed: u64, count: usize) -> Vec<Write> {
    let mut random = Random::new(seed);
    (0..count)
        .map(|number| {
            let mut content = |what: &str| {
                let mut bytes = format!("<{what} {number} of seed {seed}>").into_bytes();
                bytes.extend((0..random.below(200)).map(|_| 0xb7));
                bytes
            };
            match number % 10 {
                0 | 3 | 4 | 7 => Write::Append {
                    stream: format!("jobs/{}", number % 3),
                    bodies: vec![content("record")],
                },
                1 => Write::Append {
                    stream: format!("jobs/{}", number % 2),
                    bodies: vec![content("first"), content("second"), content("third")],
                },
                2 | 5 | 8 => Write::Chunk {
                    spool: format!("pulls/{}", number % 2),
                    bytes: content("chunk"),
                },
                6 => Write::Blob {
                    content: content("blob"),
                },
                _ => Write::Drop {
                    spool: format!("pulls/{}", number / 10 % 2),
                },
            }
        })
        .collect()
}

/// Is how a write ended.
#[derive(Debug)]
pub(crate) enum Outcome {
    Done,
    Fault(StoreFault),
}

/// Does one write at the store's own head.
pub(crate) fn apply(store: &dyn Store, write: &Write) -> Outcome {
    let fault = match write {
        Write::Append { stream, bodies } => {
            let head = store.head(&name(stream)).expect("reads");
            match store.append(&name(stream), &head, bodies) {
                Ok(_) => return Outcome::Done,
                Err(AppendError::Fault(fault)) => fault,
                Err(other) => panic!("{other}"),
            }
        }
        Write::Chunk { spool, bytes } => {
            let next = store.spool_len(&name(spool)).expect("reads");
            match store.spool_append(&name(spool), next, bytes) {
                Ok(_) => return Outcome::Done,
                Err(SpoolError::Fault(fault)) => fault,
                Err(other) => panic!("{other}"),
            }
        }
        Write::Drop { spool } => match store.spool_drop(&name(spool)) {
            Ok(()) => return Outcome::Done,
            Err(fault) => fault,
        },
        Write::Blob { content } => match store.put_blob(content) {
            Ok(_) => return Outcome::Done,
            Err(BlobError::Fault(fault)) => fault,
            Err(other) => panic!("{other}"),
        },
    };
    Outcome::Fault(fault)
}

/// As [`check`], for writes to one stream or spool of a store that holds others too.
pub(crate) fn check_own(store: &dyn Store, writes: &[Write], done: usize) {
    check_streams(store, writes, done);
    check_spools(store, writes, done);
}

/// Panics unless the store holds all of `writes[..done]`, and of the rest of each stream and spool a whole first part.
pub(crate) fn check(store: &dyn Store, writes: &[Write], done: usize) {
    check_own(store, writes, done);
    for (found, _) in store.streams("", None, 99).expect("lists") {
        let is_own = |write: &Write| matches!(write, Write::Append { stream, .. } if stream == found.as_str());
        assert!(writes.iter().any(is_own), "{found} was never written");
    }
    for write in &writes[..done] {
        if let Write::Blob { content } = write {
            assert_eq!(
                &store
                    .read_blob(&BlobId::of(content), 1 << 20)
                    .expect("an acknowledged blob"),
                content
            );
        }
    }
    let report = store.verify(&mut |_| ()).expect("looks");
    assert!(report.is_sound(), "{report:?}");
}

fn check_streams(store: &dyn Store, writes: &[Write], done: usize) {
    let mut expected: BTreeMap<&str, (Vec<usize>, Vec<&Vec<u8>>)> = BTreeMap::new();
    for (number, write) in writes.iter().enumerate() {
        let Write::Append { stream, bodies } = write else {
            continue;
        };
        let (ends, all) = expected
            .entry(stream)
            .or_insert_with(|| (vec![0], Vec::new()));
        all.extend(bodies);
        if number < done {
            ends.clear();
        }
        ends.push(all.len());
    }
    for (stream, (ends, bodies)) in expected {
        let records = store.read(&name(stream), 0, 9999).expect("reads");
        assert!(
            ends.contains(&records.len()),
            "{stream}: {} records, whole ends are {ends:?}",
            records.len()
        );
        let mut head = Head::EMPTY;
        for (record, body) in records.iter().zip(bodies) {
            head = baytrim_ledger::chain::check(&head, record).expect("a sound chain");
            assert_eq!(&record.body, body, "{stream}, record {}", record.seq);
        }
        assert_eq!(store.head(&name(stream)).expect("reads"), head);
    }
}

fn check_spools(store: &dyn Store, writes: &[Write], done: usize) {
    let mut pasts: BTreeMap<&str, Vec<Vec<&[u8]>>> = BTreeMap::new();
    for (number, write) in writes.iter().enumerate() {
        let (Write::Chunk { spool, .. } | Write::Drop { spool }) = write else {
            continue;
        };
        let states = pasts.entry(spool).or_insert_with(|| vec![Vec::new()]);
        let mut state = states.last().expect("never empty").clone();
        match write {
            Write::Chunk { bytes, .. } => state.push(bytes),
            _ => state.clear(),
        }
        if number < done {
            states.clear();
        }
        states.push(state);
    }
    for (spool, states) in pasts {
        let chunks = store.spool_read(&name(spool), 0, 9999).expect("reads");
        let numbers: Vec<u64> = chunks.iter().map(|(number, _)| *number).collect();
        assert_eq!(numbers, (0..chunks.len() as u64).collect::<Vec<_>>());
        let found: Vec<&[u8]> = chunks.iter().map(|(_, bytes)| bytes.as_slice()).collect();
        assert!(
            states.contains(&found),
            "{spool}: {} chunks are no whole past",
            found.len()
        );
    }
}
