//! Reading a blob, a part at a time.

use std::io::{self, Read};
use std::sync::Arc;

use baytrim_ledger::{BlobId, BlobReader, Damage, StoreFault};
use bytes::Bytes;

use crate::bucket::Bucket;

/// Bytes that are asked for at a time.
const PART_BYTES: u64 = 1 << 20;

/// Bytes that are looked at, at a time, while a blob is proven.
const READ_BYTES: usize = 256 << 10;

/// Opens a blob; none where there is no such object.
pub(crate) fn open(bucket: &Arc<Bucket>, id: &BlobId) -> Result<Option<BlobReader>, StoreFault> {
    let Some(len) = bucket.len(id)? else {
        return Ok(None);
    };
    let parts = Parts {
        bucket: Arc::clone(bucket),
        id: *id,
        len,
        next: 0,
        part: Bytes::new(),
    };
    let place = bucket.place(id);
    Ok(Some(BlobReader::new(*id, place, len, Box::new(parts))))
}

/// Reads to the end and returns what is wrong with the content, where something is.
pub(crate) fn damage(mut reader: BlobReader) -> Result<Option<Damage>, StoreFault> {
    let mut buffer = vec![0; READ_BYTES];
    loop {
        let error = match reader.read(&mut buffer) {
            Ok(0) => return Ok(None),
            Ok(_) => continue,
            Err(error) => error,
        };
        let error = match error.downcast::<Damage>() {
            Ok(found) => return Ok(Some(found)),
            Err(error) => error,
        };
        return Err(error.downcast::<StoreFault>().unwrap_or_else(|error| {
            StoreFault::from_io(format!("reading blob {}", reader.id()), error)
        }));
    }
}

struct Parts {
    bucket: Arc<Bucket>,
    id: BlobId,
    len: u64,
    next: u64,
    part: Bytes,
}

impl Read for Parts {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.part.is_empty() && self.next < self.len {
            let (path, range) = (
                self.bucket.path(&self.id),
                self.next..self.len.min(self.next + PART_BYTES),
            );
            self.next = range.end;
            let asked = self
                .bucket
                .ask(|objects| async move { objects.get_range(&path, range).await });
            let what = || format!("reading blob {}", self.id);
            self.part =
                asked.map_err(|error| io::Error::other(self.bucket.fault(&what(), error)))?;
        }
        let count = self.part.len().min(buffer.len());
        buffer[..count].copy_from_slice(&self.part.split_to(count));
        Ok(count)
    }
}
