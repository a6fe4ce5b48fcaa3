//! Reading an archive and proving it, entry by entry.

use std::io::{self, Read};

use baytrim_ledger::{BlobId, Hash, Hasher, Head, Record, StreamName, chain, limits};
use tar::{Archive, Entries, Entry};

use crate::contents::{End, Manifest, StreamLine, Summary};
use crate::error::{ArchiveError, ReadError};
use crate::form::{self, BLOCK_BYTES, END, END_BYTES_MAX, FORM, MANIFEST, MANIFEST_BYTES_MAX};
use crate::tally::ReadTally;

/// What is done with what an archive holds, piece by piece, as each is proven.
pub(crate) trait Taker {
    /// What can go wrong.
    type Error: From<ReadError>;

    /// Takes the next bytes of a blob.
    fn blob_bytes(&mut self, bytes: &[u8]) -> Result<(), Self::Error>;

    /// Takes note that a blob is whole and hashes to its name.
    fn blob_end(&mut self, id: &BlobId) -> Result<(), Self::Error>;

    /// Takes a record that follows the one before it.
    fn record(&mut self, record: Record) -> Result<(), Self::Error>;
}

/// Takes nothing: for a check alone.
struct Nobody;

impl Taker for Nobody {
    type Error = ReadError;

    fn blob_bytes(&mut self, _bytes: &[u8]) -> Result<(), ReadError> {
        Ok(())
    }

    fn blob_end(&mut self, _id: &BlobId) -> Result<(), ReadError> {
        Ok(())
    }

    fn record(&mut self, _record: Record) -> Result<(), ReadError> {
        Ok(())
    }
}

/// Proves an archive: every byte of it is what [`crate::write`] writes for what it holds.
///
/// # Errors
/// Names the first entry that is wrong.
pub fn check(source: &mut dyn Read) -> Result<Summary, ReadError> {
    pass(source, &mut Nobody)
}

/// Reads an archive from its start, proves it, and hands on what it holds.
pub(crate) fn pass<T: Taker>(source: &mut dyn Read, taker: &mut T) -> Result<Summary, T::Error> {
    let mut archive = Archive::new(ReadTally::new(source));
    let (summary, end) = {
        let mut entries = archive.entries().map_err(ReadError::Io)?.raw(true);
        let manifest = manifest(&mut entries)?;
        let mut blobs = Vec::new();
        for line in &manifest.blobs {
            blobs.push(blob(&mut entries, line, taker)?);
        }
        let mut streams = Vec::new();
        for line in &manifest.streams {
            streams.push(stream(&mut entries, line, taker)?);
        }
        let end: End = json(next(&mut entries, END)?, END, END_BYTES_MAX as u64)?;
        let summary = Summary {
            record_count: streams
                .iter()
                .map(|(_, head): &(_, Head)| head.next_seq)
                .sum(),
            streams,
            blobs,
            file_bytes: 0,
            sha256: Hash::ZERO,
        };
        (summary, end)
    };
    finish(archive.into_inner(), summary, &end).map_err(T::Error::from)
}

fn manifest<R: Read>(entries: &mut Entries<'_, R>) -> Result<Manifest, ReadError> {
    // What the tar reader says of a file of another kind is a fault of its form too.
    let entry = next(entries, MANIFEST).map_err(|error| {
        let problem = match error {
            ReadError::Archive(other) => other.to_string(),
            ReadError::Io(source) => source.to_string(),
        };
        ReadError::from(ArchiveError::OtherForm(problem))
    })?;
    let manifest: Manifest = json(entry, MANIFEST, MANIFEST_BYTES_MAX)?;
    if manifest.form != FORM {
        return Err(ArchiveError::OtherForm(format!("it says {:?}", manifest.form)).into());
    }
    let is_sorted = manifest
        .blobs
        .is_sorted_by(|one, other| one.sha256 < other.sha256)
        && manifest
            .streams
            .is_sorted_by(|one, other| one.name < other.name);
    if !is_sorted {
        return Err(wrong(MANIFEST, "does not list each thing once and in order").into());
    }
    Ok(manifest)
}

/// Returns the next entry, which must have this name.
fn next<'a, R: Read>(
    entries: &mut Entries<'a, R>,
    expected: &str,
) -> Result<Entry<'a, R>, ReadError> {
    let short = || ArchiveError::Short {
        expected: expected.to_owned(),
    };
    let entry = entries
        .next()
        .ok_or_else(short)?
        .map_err(read_fault(expected))?;
    let found = entry.path_bytes();
    if *found != *expected.as_bytes() {
        let found = String::from_utf8_lossy(&found).chars().take(200).collect();
        let expected = expected.to_owned();
        return Err(ArchiveError::Order { expected, found }.into());
    }
    let canonical = form::header(expected, entry.size()).map_err(ReadError::Io)?;
    if canonical.as_bytes() != entry.header().as_bytes() {
        return Err(wrong(expected, "has a header of another form").into());
    }
    Ok(entry)
}

fn blob<R: Read, T: Taker>(
    entries: &mut Entries<'_, R>,
    line: &crate::contents::BlobLine,
    taker: &mut T,
) -> Result<BlobId, T::Error> {
    let unnamed = |_| ReadError::from(wrong(MANIFEST, "names a blob by no hash"));
    let id: BlobId = line.sha256.parse().map_err(unnamed)?;
    let path = form::blob_path(&id);
    let mut entry = next(entries, &path)?;
    if entry.size() != line.bytes {
        return Err(ReadError::from(wrong(&path, "is not as long as the manifest says")).into());
    }
    let mut hasher = Hasher::new();
    let mut buffer = vec![0; 64 << 10];
    let mut seen = 0;
    loop {
        let count = entry.read(&mut buffer).map_err(read_fault(&path))?;
        if count == 0 {
            break;
        }
        seen += count as u64;
        hasher.update(&buffer[..count]);
        taker.blob_bytes(&buffer[..count])?;
    }
    if seen != line.bytes || hasher.finish() != id.0 {
        return Err(ReadError::from(wrong(&path, "does not hash to its name")).into());
    }
    taker.blob_end(&id)?;
    Ok(id)
}

fn stream<R: Read, T: Taker>(
    entries: &mut Entries<'_, R>,
    line: &StreamLine,
    taker: &mut T,
) -> Result<(StreamName, Head), T::Error> {
    let unnamed = |error: baytrim_ledger::NameError| {
        ReadError::from(wrong(MANIFEST, &format!("names a stream wrongly: {error}")))
    };
    let name = StreamName::new(&line.name).map_err(unnamed)?;
    let mut head = Head::EMPTY;
    for seq in 0..line.record_count {
        let path = form::record_path(&name, seq);
        let entry = next(entries, &path)?;
        let body = bytes(entry, &path, limits::BODY_BYTES_MAX as u64)?;
        let record = chain::seal(&name, &head, body);
        head = record.head_after();
        taker.record(record)?;
    }
    if head.hash.to_string() != line.head {
        let what = format!("records/{name}");
        let problem = "does not chain to the head that the manifest names";
        return Err(ReadError::from(wrong(&what, problem)).into());
    }
    Ok((name, head))
}

fn json<R: Read, V: serde::de::DeserializeOwned + serde::Serialize>(
    entry: Entry<'_, R>,
    name: &str,
    bytes_max: u64,
) -> Result<V, ReadError> {
    let text = bytes(entry, name, bytes_max)?;
    let value: V = serde_json::from_slice(&text)
        .map_err(|error| wrong(name, &format!("can't be read: {error}")))?;
    // One value, one text: nothing can hide in spaces.
    match serde_json::to_vec(&value) {
        Ok(canonical) if canonical == text => Ok(value),
        _ => Err(wrong(name, "is written in another form").into()),
    }
}

fn bytes<R: Read>(
    mut entry: Entry<'_, R>,
    name: &str,
    bytes_max: u64,
) -> Result<Vec<u8>, ReadError> {
    let len = entry.size();
    if len > bytes_max {
        let problem = format!("has {len} bytes; {bytes_max} are the limit");
        return Err(wrong(name, &problem).into());
    }
    let mut content = Vec::new();
    entry.read_to_end(&mut content).map_err(read_fault(name))?;
    if content.len() as u64 != len {
        return Err(ArchiveError::Short {
            expected: name.to_owned(),
        }
        .into());
    }
    Ok(content)
}

/// Holds the file against its last entry and its end.
fn finish<R: Read>(
    mut tally: ReadTally<R>,
    summary: Summary,
    end: &End,
) -> Result<Summary, ReadError> {
    // The last entry was read, and nothing of what follows it: padding to a block, then two blocks of zeros.
    let end_len = serde_json::to_vec(end).map_or(0, |text| text.len());
    let sha256 = tally.hash_before(BLOCK_BYTES + end_len);
    if end.sha256 != sha256.to_string() {
        return Err(wrong(END, "names another hash than all before it has").into());
    }
    let mut tail = Vec::new();
    let wanted = (BLOCK_BYTES - end_len % BLOCK_BYTES) % BLOCK_BYTES + 2 * BLOCK_BYTES;
    let mut limited = (&mut tally).take(wanted as u64 + 1);
    limited.read_to_end(&mut tail).map_err(ReadError::Io)?;
    if tail.len() != wanted || tail.iter().any(|&byte| byte != 0) {
        return Err(ArchiveError::Tail.into());
    }
    Ok(Summary {
        sha256,
        file_bytes: tally.count(),
        ..summary
    })
}

fn wrong(entry: &str, problem: &str) -> ArchiveError {
    ArchiveError::Entry {
        entry: entry.to_owned(),
        problem: problem.to_owned(),
    }
}

/// Tells a file that can't be read from one that is not what it should be.
fn read_fault(expected: &str) -> impl Fn(io::Error) -> ReadError {
    let expected = expected.to_owned();
    move |source| match source.kind() {
        io::ErrorKind::UnexpectedEof => ArchiveError::Short {
            expected: expected.clone(),
        }
        .into(),
        // What the tar reader says of headers that it can't read.
        io::ErrorKind::Other | io::ErrorKind::InvalidData => {
            wrong(&expected, &source.to_string()).into()
        }
        _ => ReadError::Io(source),
    }
}
