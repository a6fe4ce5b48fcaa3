//! Writing a blob: gathered first, since only its content names it.

use std::io::{Read as _, Seek as _, Write as _};
use std::sync::Arc;

use baytrim_ledger::limits::BLOB_BYTES_MAX;
use baytrim_ledger::{BlobError, BlobId, BlobWriter, Hasher, StoreFault};
use bytes::Bytes;
use object_store::{PutMode, PutMultipartOptions, PutOptions};
use tempfile::SpooledTempFile;

use crate::bucket::Bucket;
use crate::read;

/// Bytes that are held in memory and sent at once; a larger blob waits in a file without a name and goes in parts.
const PART_BYTES: usize = 8 << 20;

const READING_BACK: &str = "reading back a blob that was gathered";

/// Takes the bytes of one blob.
pub(crate) struct Writer {
    bucket: Arc<Bucket>,
    gathered: SpooledTempFile,
    hasher: Hasher,
    len: u64,
}

impl Writer {
    pub(crate) fn begin(bucket: &Arc<Bucket>) -> Self {
        Self {
            bucket: Arc::clone(bucket),
            gathered: SpooledTempFile::new(PART_BYTES),
            hasher: Hasher::new(),
            len: 0,
        }
    }

    fn rewind(&mut self) -> Result<(), StoreFault> {
        let rewound = self.gathered.rewind();
        rewound.map_err(|source| StoreFault::from_io(READING_BACK, source))
    }

    /// Returns the next part; an empty one is the end.
    fn part(&mut self) -> Result<Bytes, StoreFault> {
        let mut part = Vec::new();
        let gathered = &mut self.gathered;
        let read = gathered.take(PART_BYTES as u64).read_to_end(&mut part);
        read.map_err(|source| StoreFault::from_io(READING_BACK, source))?;
        Ok(part.into())
    }

    /// Tells whether the object is there and holds what its name promises.
    fn is_there(&self, id: &BlobId) -> Result<bool, StoreFault> {
        match read::open(&self.bucket, id)? {
            Some(there) if there.len() == self.len => Ok(read::damage(there)?.is_none()),
            _ => Ok(false),
        }
    }

    /// Writes an object at once; tells whether it did, which it does not where `mode` forbids it.
    fn put(&mut self, id: &BlobId, mode: PutMode) -> Result<bool, StoreFault> {
        self.rewind()?;
        let (path, part, options) = (self.bucket.path(id), self.part()?, PutOptions::from(mode));
        let put = self
            .bucket
            .ask(|objects| async move { objects.put_opts(&path, part.into(), options).await });
        match put {
            Ok(_) => Ok(true),
            Err(object_store::Error::AlreadyExists { .. }) => Ok(false),
            Err(error) => Err(self.bucket.fault(&format!("writing blob {id}"), error)),
        }
    }

    /// Writes an object in parts; nothing is there before the last of them is.
    fn put_parts(&mut self, id: &BlobId) -> Result<(), StoreFault> {
        let bucket = Arc::clone(&self.bucket);
        let fault = |error| bucket.fault(&format!("writing blob {id}"), error);
        let path = bucket.path(id);
        self.rewind()?;
        let begun = bucket.ask(|objects| async move {
            objects
                .put_multipart_opts(&path, PutMultipartOptions::default())
                .await
        });
        let mut upload = begun.map_err(fault)?;
        loop {
            let part = self.part()?;
            let is_end = part.is_empty();
            let sent = bucket.ask(|_| async move {
                let sent = if is_end {
                    upload.complete().await.map(drop)
                } else {
                    upload.put_part(part.into()).await
                };
                if sent.is_err() {
                    // Parts that nobody completes cost room; where this fails too, the bucket's own rule removes them.
                    let _untold = upload.abort().await;
                }
                sent.map(|()| upload)
            });
            upload = sent.map_err(fault)?;
            if is_end {
                return Ok(());
            }
        }
    }
}

impl BlobWriter for Writer {
    fn write(&mut self, bytes: &[u8]) -> Result<(), BlobError> {
        let (actual, max) = (self.len + bytes.len() as u64, BLOB_BYTES_MAX);
        if actual > max {
            return Err(BlobError::TooLarge { actual, max });
        }
        let written = self.gathered.write_all(bytes);
        written.map_err(|source| {
            StoreFault::from_io(
                "gathering a blob in the directory for temporary files",
                source,
            )
        })?;
        self.hasher.update(bytes);
        self.len = actual;
        Ok(())
    }

    fn commit(mut self: Box<Self>) -> Result<BlobId, BlobError> {
        let id = BlobId(std::mem::take(&mut self.hasher).finish());
        let is_small = self.len <= PART_BYTES as u64;
        if is_small && self.put(&id, PutMode::Create)? {
            return Ok(id);
        }
        // The same content under its own name; anything else there is damage, which is mended by writing over it.
        if self.is_there(&id)? {
            return Ok(id);
        }
        if is_small {
            self.put(&id, PutMode::Overwrite)?;
        } else {
            self.put_parts(&id)?;
        }
        Ok(id)
    }
}
