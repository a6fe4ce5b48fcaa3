//! Putting what an archive holds into a store.

use std::io::{Read, Seek};

use baytrim_ledger::{BlobId, BlobWriter, Head, Record, Store, StreamName};

use crate::check::{Taker, pass};
use crate::contents::Summary;
use crate::error::{ReadError, RestoreError};

/// Records that are appended at a time.
const APPEND_RECORDS: usize = 64;

/// Bytes of bodies that are appended at a time.
const APPEND_BYTES: usize = 2 << 20;

/// Puts what an archive holds into `store`, once all of it is proven and fits what the store has.
///
/// A stream that the store has already must begin with the same records, or be their beginning; what it lacks is
/// appended. So the same archive can be restored again after a failure half-way.
///
/// # Errors
/// As [`compare`] and [`put`].
pub fn restore<S: Read + Seek>(source: &mut S, store: &dyn Store) -> Result<Summary, RestoreError> {
    compare(source, store, &mut |_| Ok(()))?;
    put(source, store)
}

/// Proves an archive and holds it against `store`, taking nothing; `accept` sees every record and may say what is
/// wrong with it.
///
/// # Errors
/// When the archive is not sound, the store has another history of a stream, or a record is not accepted.
pub fn compare<S: Read + Seek>(
    source: &mut S,
    store: &dyn Store,
    accept: &mut dyn FnMut(&Record) -> Result<(), String>,
) -> Result<Summary, RestoreError> {
    source.rewind().map_err(ReadError::Io)?;
    let head = None;
    pass(
        source,
        &mut Compare {
            store,
            head,
            accept,
        },
    )
}

/// Puts what an archive holds into `store`: blobs first, then the records, so that no record names a blob that is not
/// there. Hashes come out as they were. [`compare`] it first.
///
/// # Errors
/// When the archive or the store fails half-way; what was taken then stays.
pub fn put<S: Read + Seek>(source: &mut S, store: &dyn Store) -> Result<Summary, RestoreError> {
    source.rewind().map_err(ReadError::Io)?;
    let mut put = Put {
        store,
        blob: None,
        bodies: Vec::new(),
        bytes: 0,
        stream: None,
    };
    let taken = pass(source, &mut put)?;
    put.flush()?;
    Ok(taken)
}

/// Holds the records against those that the store has.
struct Compare<'a> {
    store: &'a dyn Store,
    head: Option<(StreamName, Head)>,
    accept: &'a mut dyn FnMut(&Record) -> Result<(), String>,
}

impl Taker for Compare<'_> {
    type Error = RestoreError;

    fn blob_bytes(&mut self, _bytes: &[u8]) -> Result<(), RestoreError> {
        Ok(())
    }

    fn blob_end(&mut self, _id: &BlobId) -> Result<(), RestoreError> {
        Ok(())
    }

    fn record(&mut self, record: Record) -> Result<(), RestoreError> {
        let (store, name) = (self.store, &record.stream);
        (self.accept)(&record).map_err(|problem| RestoreError::Refused {
            stream: name.to_string(),
            seq: record.seq,
            problem,
        })?;
        let head = match &self.head {
            Some((stream, head)) if stream == name => *head,
            _ => {
                let head = store.head(name)?;
                self.head = Some((name.clone(), head));
                head
            }
        };
        // Chained as they are, the last record that both have speaks for all before it.
        let is_last_of_ours = record.seq + 1 == head.next_seq;
        let is_same = if is_last_of_ours {
            record.hash == head.hash
        } else if record.seq < head.next_seq {
            let ours = store.read(name, record.seq, 1)?;
            ours.first().is_some_and(|ours| ours.hash == record.hash)
        } else {
            true
        };
        if is_same {
            return Ok(());
        }
        Err(RestoreError::Conflict {
            stream: name.to_string(),
            seq: record.seq,
        })
    }
}

/// Writes blobs and records.
struct Put<'a> {
    store: &'a dyn Store,
    blob: Option<Box<dyn BlobWriter>>,
    bodies: Vec<Vec<u8>>,
    bytes: usize,
    /// The stream that the bodies go to, and its head before them.
    stream: Option<(StreamName, Head)>,
}

impl Put<'_> {
    fn flush(&mut self) -> Result<(), RestoreError> {
        let bodies = std::mem::take(&mut self.bodies);
        self.bytes = 0;
        if let (Some((stream, head)), false) = (&mut self.stream, bodies.is_empty()) {
            *head = self.store.append(stream, head, &bodies)?;
        }
        Ok(())
    }
}

impl Taker for Put<'_> {
    type Error = RestoreError;

    fn blob_bytes(&mut self, bytes: &[u8]) -> Result<(), RestoreError> {
        let writer = match &mut self.blob {
            Some(writer) => writer,
            none => none.insert(self.store.begin_blob()?),
        };
        Ok(writer.write(bytes)?)
    }

    fn blob_end(&mut self, _id: &BlobId) -> Result<(), RestoreError> {
        // An empty blob has no bytes that would have begun it.
        let writer = match self.blob.take() {
            Some(writer) => writer,
            None => self.store.begin_blob()?,
        };
        writer.commit()?;
        Ok(())
    }

    fn record(&mut self, record: Record) -> Result<(), RestoreError> {
        if self
            .stream
            .as_ref()
            .is_none_or(|(stream, _)| *stream != record.stream)
        {
            self.flush()?;
            let head = self.store.head(&record.stream)?;
            self.stream = Some((record.stream.clone(), head));
        }
        let ours = self.stream.as_ref().map_or(0, |(_, head)| head.next_seq);
        if record.seq < ours {
            return Ok(());
        }
        self.bytes += record.body.len();
        self.bodies.push(record.body);
        if self.bodies.len() == APPEND_RECORDS || self.bytes >= APPEND_BYTES {
            self.flush()?;
        }
        Ok(())
    }
}
