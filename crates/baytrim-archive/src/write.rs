//! Writing an archive.

use std::io::{Read, Write};

use baytrim_ledger::{Store, StoreFault};
use serde::Serialize;
use tar::Builder;

use crate::contents::{BlobLine, Contents, End, Manifest, StreamLine, Summary};
use crate::error::WriteError;
use crate::form::{self, END, FORM, MANIFEST};
use crate::tally::WriteTally;

/// Records that are read at a time.
const READ_RECORDS: usize = 64;

/// Writes what `contents` names, from `store`, as one archive: first what is in it, then blobs, then records.
///
/// The same contents give the same bytes. The store may take records meanwhile: each stream is written up to its head
/// in `contents`.
///
/// # Errors
/// When the store or the file fails; what was written of the file then is no archive.
pub fn write(
    store: &dyn Store,
    contents: &Contents,
    out: &mut dyn Write,
) -> Result<Summary, WriteError> {
    let mut tar = Builder::new(WriteTally::new(out));
    tar.mode(tar::HeaderMode::Deterministic);
    let blobs = contents.blobs.iter().map(|id| {
        Ok(BlobLine {
            sha256: id.to_string(),
            bytes: store.open_blob(id)?.len(),
        })
    });
    let streams = contents.streams.iter().map(|(name, head)| StreamLine {
        name: name.to_string(),
        record_count: head.next_seq,
        head: head.hash.to_string(),
    });
    let manifest = Manifest {
        form: FORM.to_owned(),
        streams: streams.collect(),
        blobs: blobs.collect::<Result<_, WriteError>>()?,
    };
    put_json(&mut tar, MANIFEST, &manifest)?;
    for (id, line) in contents.blobs.iter().zip(&manifest.blobs) {
        let mut reader = store.open_blob(id)?;
        put(&mut tar, &form::blob_path(id), line.bytes, &mut reader)?;
    }
    let record_count = put_records(store, contents, &mut tar)?;
    let sha256 = tar.get_ref().hash();
    let end = End {
        sha256: sha256.to_string(),
    };
    put_json(&mut tar, END, &end)?;
    let mut tally = tar.into_inner()?;
    tally.flush()?;
    Ok(Summary {
        streams: contents.streams.clone(),
        record_count,
        blobs: contents.blobs.clone(),
        file_bytes: tally.count(),
        sha256,
    })
}

fn put_records<W: Write>(
    store: &dyn Store,
    contents: &Contents,
    tar: &mut Builder<W>,
) -> Result<u64, WriteError> {
    let mut record_count = 0;
    for (stream, head) in &contents.streams {
        let mut seq = 0;
        while seq < head.next_seq {
            let records = store.read(stream, seq, READ_RECORDS)?;
            if records.is_empty() {
                let source = std::io::Error::other(format!("record {seq} is not there"));
                return Err(StoreFault::from_io(format!("reading stream {stream}"), source).into());
            }
            for record in records.iter().filter(|record| record.seq < head.next_seq) {
                let len = record.body.len() as u64;
                let path = form::record_path(stream, record.seq);
                put(tar, &path, len, &mut record.body.as_slice())?;
                seq = record.seq + 1;
                record_count += 1;
            }
        }
    }
    Ok(record_count)
}

fn put_json<W: Write>(
    tar: &mut Builder<W>,
    path: &str,
    value: &impl Serialize,
) -> std::io::Result<()> {
    let text = serde_json::to_vec(value)?;
    put(tar, path, text.len() as u64, &mut text.as_slice())
}

fn put<W: Write>(
    tar: &mut Builder<W>,
    path: &str,
    len: u64,
    content: &mut dyn Read,
) -> std::io::Result<()> {
    let written = tar.append(&form::header(path, len)?, content);
    written.map_err(|source| std::io::Error::new(source.kind(), format!("{path}: {source}")))
}
