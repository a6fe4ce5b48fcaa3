//! Blobs in memory.

use std::sync::Arc;

use crate::blob::{BlobId, BlobWriter};
use crate::error::BlobError;
use crate::limits::BLOB_BYTES_MAX;
use crate::memory::MemoryStore;

/// Shares the content of a blob with its readers.
pub(super) struct Shared(pub(super) Arc<Vec<u8>>);

impl AsRef<[u8]> for Shared {
    fn as_ref(&self) -> &[u8] {
        &self.0
    }
}

/// Gathers a blob.
pub(super) struct MemoryBlob {
    pub(super) store: MemoryStore,
    pub(super) content: Vec<u8>,
}

impl BlobWriter for MemoryBlob {
    fn write(&mut self, bytes: &[u8]) -> Result<(), BlobError> {
        let actual = (self.content.len() + bytes.len()) as u64;
        if actual > BLOB_BYTES_MAX {
            return Err(BlobError::TooLarge {
                actual,
                max: BLOB_BYTES_MAX,
            });
        }
        self.content.extend_from_slice(bytes);
        Ok(())
    }

    fn commit(self: Box<Self>) -> Result<BlobId, BlobError> {
        let id = BlobId::of(&self.content);
        self.store.lock().blobs.insert(id, Arc::new(self.content));
        Ok(id)
    }
}
