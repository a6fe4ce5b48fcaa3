//! Archives written, read, broken and restored.
#![allow(clippy::unwrap_used, reason = "these are tests")]

use std::io::Cursor;

use baytrim_archive::{Contents, ReadError, RestoreError, Summary, check, restore, write};
use baytrim_ledger::{BlobId, Head, MemoryStore, Store, StreamName};

fn name(text: &str) -> StreamName {
    StreamName::new(text).unwrap()
}

/// A ledger with three streams and three blobs, one of them empty.
fn ledger() -> (MemoryStore, Contents) {
    let store = MemoryStore::new();
    let mut contents = Contents::default();
    for (stream, count) in [("bay/east", 1), ("job/quoll-1", 150), ("shop", 2)] {
        let mut head = Head::EMPTY;
        for index in 0..count {
            let body = format!("{{\"n\":{index}}}").into_bytes();
            head = store.append(&name(stream), &head, &[body]).unwrap();
        }
        contents.streams.push((name(stream), head));
    }
    for blob in [&b""[..], b"offset_s,rpm\n0,1500\n", &vec![7; 70_000]] {
        contents.blobs.push(store.put_blob(blob).unwrap());
    }
    contents.blobs.sort_unstable();
    (store, contents)
}

fn written() -> (MemoryStore, Contents, Vec<u8>, Summary) {
    let (store, contents) = ledger();
    let mut file = Vec::new();
    let summary = write(&store, &contents, &mut file).unwrap();
    (store, contents, file, summary)
}

/// If this fails, a backup is not what the ledger was: another hash, a missing blob, or other bytes each time.
#[test]
fn what_is_restored_is_what_was_written() {
    let (store, contents, file, summary) = written();
    assert_eq!((summary.record_count, summary.blobs.len()), (153, 3));
    assert_eq!(summary.file_bytes, file.len() as u64);
    assert_eq!(check(&mut file.as_slice()).unwrap(), summary);
    let mut again = Vec::new();
    write(&store, &contents, &mut again).unwrap();
    assert_eq!(again, file);
    let elsewhere = MemoryStore::new();
    for _ in 0..2 {
        let restored = restore(&mut Cursor::new(&file), &elsewhere).unwrap();
        assert_eq!(restored, summary);
        for (stream, head) in &contents.streams {
            assert_eq!(elsewhere.head(stream).unwrap(), *head);
            assert_eq!(
                elsewhere.read(stream, 0, 500).unwrap(),
                store.read(stream, 0, 500).unwrap()
            );
        }
        let blobs: Vec<BlobId> = elsewhere
            .blobs(None, 10)
            .unwrap()
            .into_iter()
            .map(|(id, _)| id)
            .collect();
        assert_eq!(blobs, contents.blobs);
    }
}

/// If this fails, a head that was taken before other records came does not hold, and a backup under way is no state that ever was.
#[test]
fn streams_are_written_up_to_their_heads() {
    let (store, contents) = ledger();
    let (stream, head) = &contents.streams[1];
    let later = vec![vec![1; 10]; 5];
    store.append(stream, head, &later).unwrap();
    let mut file = Vec::new();
    let summary = write(&store, &contents, &mut file).unwrap();
    assert_eq!(summary.streams, contents.streams);
    assert_eq!(check(&mut file.as_slice()).unwrap(), summary);
}

/// If this fails, some byte of an archive can be changed and nobody sees it.
#[test]
fn every_changed_byte_is_found() {
    let (store, contents, ..) = written();
    let few = Contents {
        streams: vec![contents.streams[0].clone(), contents.streams[2].clone()],
        blobs: contents.blobs[..1].to_vec(),
    };
    let mut file = Vec::new();
    write(&store, &few, &mut file).unwrap();
    assert!(file.len() > 5000);
    for place in 0..file.len() {
        for change in [0x01, 0x80] {
            file[place] ^= change;
            assert!(check(&mut file.as_slice()).is_err(), "byte {place}");
            file[place] ^= change;
        }
    }
    assert!(check(&mut file.as_slice()).is_ok());
    for len in 0..file.len() {
        assert!(check(&mut &file[..len]).is_err(), "cut to {len}");
    }
    for tail in [&b"\0"[..], b"x", &[0; 512]] {
        let mut longer = file.clone();
        longer.extend_from_slice(tail);
        assert!(
            check(&mut longer.as_slice()).is_err(),
            "{} more",
            tail.len()
        );
    }
}

/// If this fails, an archive with an entry dropped, repeated or swapped passes for whole.
#[test]
fn entries_that_are_dropped_repeated_or_swapped_are_found() {
    let (_, _, file, _) = written();
    // Each record of the long stream is an entry of two blocks.
    let blocks: Vec<&[u8]> = file.chunks(512).collect();
    let name = b"records/job/quoll-1/000000000000";
    let first = blocks.iter().position(|block| block.starts_with(name));
    let first = first.unwrap();
    let build = |order: &[usize]| -> Vec<u8> {
        let mut changed: Vec<&[u8]> = blocks[..first].to_vec();
        for &entry in order {
            changed.extend_from_slice(&blocks[first + 2 * entry..first + 2 * entry + 2]);
        }
        changed.extend_from_slice(&blocks[first + 20..]);
        changed.concat()
    };
    let plain: Vec<usize> = (0..10).collect();
    assert!(check(&mut build(&plain).as_slice()).is_ok());
    for entry in 0..10 {
        let mut dropped = plain.clone();
        dropped.remove(entry);
        let mut repeated = plain.clone();
        repeated.insert(entry, entry);
        let mut swapped = plain.clone();
        swapped.swap(entry, (entry + 3) % 10);
        for order in [dropped, repeated, swapped] {
            assert!(check(&mut build(&order).as_slice()).is_err(), "{order:?}");
        }
    }
}

/// If this fails, a job is imported over another history, or half of it is.
#[test]
fn another_history_is_refused_before_anything_is_taken() {
    let (_, contents, file, _) = written();
    let (stream, _) = &contents.streams[1];
    let other = MemoryStore::new();
    let bodies = vec![b"{\"n\":0}".to_vec(), b"{\"n\":9}".to_vec()];
    other.append(stream, &Head::EMPTY, &bodies).unwrap();
    let refused = restore(&mut Cursor::new(&file), &other).unwrap_err();
    let RestoreError::Conflict { stream, seq } = refused else {
        panic!("{refused:?}");
    };
    assert_eq!((stream.as_str(), seq), ("job/quoll-1", 1));
    assert!(other.blobs(None, 10).unwrap().is_empty());
    assert_eq!(other.head(&name("bay/east")).unwrap(), Head::EMPTY);
}

/// If this fails, what was cut off half-way can't be gone on with.
#[test]
fn a_beginning_is_completed_and_a_longer_one_left_alone() {
    let (store, contents, file, _) = written();
    let (stream, head) = &contents.streams[1];
    let begun = MemoryStore::new();
    let first: Vec<Vec<u8>> = store
        .read(stream, 0, 70)
        .unwrap()
        .into_iter()
        .map(|record| record.body)
        .collect();
    begun.append(stream, &Head::EMPTY, &first).unwrap();
    restore(&mut Cursor::new(&file), &begun).unwrap();
    assert_eq!(begun.head(stream).unwrap(), *head);
    let longer = begun.append(stream, head, &[b"more".to_vec()]).unwrap();
    restore(&mut Cursor::new(&file), &begun).unwrap();
    assert_eq!(begun.head(stream).unwrap(), longer);
}

/// If this fails, somebody who gives another file is told nothing that helps.
#[test]
fn other_files_are_named_as_such() {
    for other in [
        &b""[..],
        b"rpm,lambda\n1500,0.98\n",
        &[0; 2048],
        &[b'x'; 4096],
    ] {
        let refused = check(&mut &*other).unwrap_err();
        assert!(matches!(refused, ReadError::Archive(_)), "{refused:?}");
        let told = refused.to_string();
        assert!(told.contains("no archive of form 1"), "{told}");
    }
}
