//! A second reader, written from `docs/ledger-format.md` alone, and files of format 1 kept as they were written.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use baytrim_ledger::{Hash, Head};

use crate::support::{copy_dir, name, open, quick_dir, small};

/// CRC-32C bit by bit, from the polynomial in RFC 3720, appendix B.4.
fn crc32c(parts: &[&[u8]]) -> u32 {
    let mut crc = u32::MAX;
    for byte in parts.concat() {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 {
                crc >> 1 ^ 0x82f6_3b78
            } else {
                crc >> 1
            };
        }
    }
    !crc
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(bytes[at..at + 4].try_into().expect("four bytes"))
}

fn u64_at(bytes: &[u8], at: usize) -> u64 {
    u64::from_le_bytes(bytes[at..at + 8].try_into().expect("eight bytes"))
}

fn usize_at(bytes: &[u8], at: usize) -> usize {
    u32_at(bytes, at) as usize
}

/// Reads a log's payloads, checking everything that the page says.
fn read_log(dir: &Path, magic: &[u8]) -> Vec<Vec<u8>> {
    let mut names: Vec<_> = fs::read_dir(dir)
        .expect("lists")
        .map(|entry| entry.expect("lists").path())
        .collect();
    names.sort();
    let mut payloads = Vec::new();
    let (mut hash, mut seq, mut prev_len) = ([0; 32].to_vec(), 0, 0);
    for (number, path) in (1_u32..).zip(names) {
        assert_eq!(
            path.file_name().expect("a name").to_string_lossy(),
            format!("{number:010}.seg")
        );
        let bytes = fs::read(path).expect("reads");
        assert_eq!(
            (&bytes[..8], u32_at(&bytes, 8), u32_at(&bytes, 12)),
            (magic, 1, number)
        );
        assert_eq!(
            (u64_at(&bytes, 16), &bytes[24..56], u64_at(&bytes, 56)),
            (seq + 1, &hash[..], prev_len)
        );
        assert_eq!(u32_at(&bytes, 64), crc32c(&[&bytes[..64]]));
        let mut at = 68;
        while at < bytes.len() {
            let len = usize_at(&bytes, at);
            let payload = &bytes[at + 48..at + 48 + len];
            assert_eq!(
                u32_at(&bytes, at + 4),
                crc32c(&[&bytes[at..at + 4], &bytes[at + 8..at + 48], payload])
            );
            seq += 1;
            assert_eq!(u64_at(&bytes, at + 8), seq);
            let length = (len as u64).to_le_bytes();
            let hashed = [
                b"baytrim frame",
                &[1][..],
                &seq.to_le_bytes(),
                &hash,
                &length,
                payload,
            ]
            .concat();
            assert_eq!(Hash::of(&hashed).0, bytes[at + 16..at + 48]);
            hash = bytes[at + 16..at + 48].to_vec();
            payloads.push(payload.to_vec());
            at += 48 + len;
        }
        prev_len = bytes.len() as u64;
    }
    payloads
}

/// Reads the records of a journal by stream, checking hashes, numbers and links.
fn read_records(dir: &Path) -> BTreeMap<String, Vec<Vec<u8>>> {
    let mut streams: BTreeMap<String, (Vec<u8>, Vec<Vec<u8>>)> = BTreeMap::new();
    for payload in read_log(&dir.join("journal"), b"baytrimJ") {
        assert_eq!(payload[0], 1);
        let name_len = usize::from(payload[1]);
        let stream = String::from_utf8(payload[2..2 + name_len].to_vec()).expect("text");
        let (hash, bodies) = streams
            .entry(stream.clone())
            .or_insert_with(|| (vec![0; 32], Vec::new()));
        let mut at = 2 + name_len;
        assert_eq!(
            (u64_at(&payload, at), &payload[at + 8..at + 40]),
            (bodies.len() as u64, &hash[..])
        );
        let count = u32_at(&payload, at + 40);
        at += 44;
        for _ in 0..count {
            let len = usize_at(&payload, at);
            let body = &payload[at + 4..at + 4 + len];
            let (name_length, seq) = (
                u32::from(payload[1]).to_le_bytes(),
                (bodies.len() as u64).to_le_bytes(),
            );
            let length = (len as u64).to_le_bytes();
            let hashed = [
                b"baytrim record",
                &[1][..],
                &name_length,
                stream.as_bytes(),
                &seq,
                hash,
                &length,
                body,
            ]
            .concat();
            assert_eq!(Hash::of(&hashed).0, payload[at + 4 + len..at + 36 + len]);
            *hash = payload[at + 4 + len..at + 36 + len].to_vec();
            bodies.push(body.to_vec());
            at += 36 + len;
        }
        assert_eq!(at, payload.len());
    }
    streams
        .into_iter()
        .map(|(stream, (_, bodies))| (stream, bodies))
        .collect()
}

/// Writes the ledger that the kept files hold.
fn write_sample(dir: &Path) {
    let (store, _) = open(dir, &small());
    let mut heads = [Head::EMPTY; 2];
    for number in 0..30_usize {
        let stream = name(["jobs/j-1", "bays/b-2"][number % 2]);
        let bodies: Vec<Vec<u8>> = (0..=number % 3)
            .map(|body| vec![u8::try_from(number + body).expect("small"); 40])
            .collect();
        heads[number % 2] = store
            .append(&stream, &heads[number % 2], &bodies)
            .expect("appends");
        store
            .spool_append(&name("pulls/p-1"), number as u64, &[9; 30])
            .expect("appends");
    }
    store.put_blob(b"offset_s,rpm\n0.0,1200\n").expect("puts");
}

fn kept() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/format-1")
}

/// If this fails, the check value of the page or this reader's checksum is wrong.
/// Source: the check value of CRC-32C for `123456789` in the catalogue of parametrised CRC algorithms (CRC-32/ISCSI).
#[test]
fn the_checksum_has_its_published_check_value() {
    assert_eq!(crc32c(&[b"123456789"]), 0xe306_9283);
    // RFC 3720, appendix B.4: 32 bytes of zeros.
    assert_eq!(crc32c(&[&[0; 32]]), 0x8a91_36aa);
}

/// If this fails, the page about the format is wrong, and a stranger cannot read the ledger.
#[test]
fn a_reader_made_from_the_page_reads_what_the_store_wrote() {
    let dir = quick_dir();
    write_sample(dir.path());
    let records = read_records(dir.path());
    let (store, _) = open(dir.path(), &small());
    for (stream, bodies) in &records {
        let found: Vec<_> = store
            .read(&name(stream), 0, 999)
            .expect("reads")
            .into_iter()
            .map(|record| record.body)
            .collect();
        assert_eq!(&found, bodies);
    }
    assert_eq!(records.values().map(Vec::len).sum::<usize>(), 60);
    let chunks = read_log(&dir.path().join("spool"), b"baytrimS");
    assert_eq!(chunks.len(), 30);
    assert!(chunks.iter().all(|payload| payload[0] == 2
        && payload[2..11] == *b"pulls/p-1"
        && payload[19..] == [9; 30]));

    let anchor = fs::read(dir.path().join("anchor")).expect("reads");
    for slot in [0, 4096] {
        let bytes = &anchor[slot..slot + 132];
        assert_eq!((&bytes[..8], u32_at(bytes, 8)), (&b"baytrimA"[..], 1));
        assert_eq!(u32_at(bytes, 128), crc32c(&[&bytes[..128]]));
        assert_eq!(u64_at(bytes, 12) % 2, u64::from(slot == 4096));
    }
    let newest = if u64_at(&anchor, 12) > u64_at(&anchor, 4096 + 12) {
        0
    } else {
        4096
    };
    assert_eq!(
        u64_at(&anchor, newest + 24 + 12),
        30,
        "the journal's last frame"
    );
}

/// If this fails, the format changed without a new number: ledgers in the field would no longer be read, or other bytes be written.
///
/// With `UPDATE_FIXTURES` in the environment it writes the kept files anew, for a new format.
#[test]
fn files_of_format_1_are_still_read_and_still_written_the_same() {
    let fresh = quick_dir();
    write_sample(fresh.path());
    #[expect(
        clippy::disallowed_methods,
        reason = "a switch for whoever runs the tests"
    )]
    let update = std::env::var_os("UPDATE_FIXTURES").is_some();
    if update {
        for log in ["journal", "spool", "blobs"] {
            copy_dir(&fresh.path().join(log), &kept().join(log));
        }
        for file in ["anchor", "FORMAT"] {
            fs::copy(fresh.path().join(file), kept().join(file)).expect("copies");
        }
    }
    let mut compared = 0;
    for log in ["journal", "spool"] {
        for entry in fs::read_dir(kept().join(log)).expect("the kept files are there") {
            let path = entry.expect("lists").path();
            let written = fs::read(
                fresh
                    .path()
                    .join(log)
                    .join(path.file_name().expect("a name")),
            )
            .expect("written");
            assert_eq!(
                written,
                fs::read(&path).expect("reads"),
                "{} differs",
                path.display()
            );
            compared += 1;
        }
    }
    assert!(compared >= 4, "only {compared} files compared");

    let copy = quick_dir();
    copy_dir(&kept(), copy.path());
    let (store, report) = open(copy.path(), &small());
    assert_eq!(
        (report.record_count, report.stream_count, report.spool_count),
        (60, 2, 1)
    );
    let verified = store.verify(&mut |_| ()).expect("looks");
    assert!(
        verified.is_sound() && verified.blob_count == 1,
        "{verified:?}"
    );
}
