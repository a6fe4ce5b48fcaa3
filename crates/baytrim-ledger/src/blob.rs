//! Blobs: bytes named by their hash, written once.

use std::fmt;
use std::io::{self, Read};
use std::str::FromStr;

use crate::error::BlobError;
use crate::fault::Damage;
use crate::hash::{Hash, Hasher, ParseHashError};

/// Names a blob by the SHA-256 of its content.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BlobId(pub Hash);

impl BlobId {
    /// Returns the name that `content` has as a blob.
    pub fn of(content: &[u8]) -> Self {
        Self(Hash::of(content))
    }
}

impl fmt::Display for BlobId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl fmt::Debug for BlobId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "BlobId({self})")
    }
}

impl FromStr for BlobId {
    type Err = ParseHashError;

    fn from_str(text: &str) -> Result<Self, ParseHashError> {
        text.parse().map(Self)
    }
}

/// Takes the bytes of one blob; dropped without commit, it leaves nothing.
pub trait BlobWriter: Send {
    /// Takes the next bytes.
    ///
    /// # Errors
    /// [`BlobError::TooLarge`] beyond [`crate::limits::BLOB_BYTES_MAX`], or the store's fault; drop the writer then.
    fn write(&mut self, bytes: &[u8]) -> Result<(), BlobError>;

    /// Makes the blob durable and returns its name; content that is there already is fine.
    ///
    /// # Errors
    /// The store's fault; the blob may or may not be there then.
    fn commit(self: Box<Self>) -> Result<BlobId, BlobError>;
}

/// Reads one blob and proves at its end that it is the content that the name promises.
///
/// The error of a failed proof is an [`io::Error`] of kind `InvalidData` that carries a [`Damage`].
pub struct BlobReader {
    id: BlobId,
    file: String,
    len: u64,
    seen: u64,
    hasher: Option<Hasher>,
    inner: Box<dyn Read + Send>,
}

impl BlobReader {
    /// Wraps the store's raw reader of the blob `id`; `file` is how the store names its place.
    pub fn new(id: BlobId, file: String, len: u64, inner: Box<dyn Read + Send>) -> Self {
        Self {
            id,
            file,
            len,
            seen: 0,
            hasher: Some(Hasher::new()),
            inner,
        }
    }

    /// Returns the blob's name.
    pub fn id(&self) -> BlobId {
        self.id
    }

    /// Returns the length of the whole blob in bytes, as the store has it.
    pub fn len(&self) -> u64 {
        self.len
    }

    /// Tells whether the blob has no bytes.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    fn prove(&mut self) -> io::Result<()> {
        let Some(hasher) = self.hasher.take() else {
            return Ok(());
        };
        let actual = hasher.finish();
        if actual == self.id.0 && self.seen == self.len {
            return Ok(());
        }
        let what = format!(
            "{} bytes that hash to {actual} instead of {} bytes of the blob {}",
            self.seen, self.len, self.id
        );
        let advice = "restore this file from a backup, or submit the same log again".to_owned();
        let damage = Damage {
            file: self.file.clone(),
            what,
            advice,
            ..Damage::default()
        };
        Err(io::Error::new(io::ErrorKind::InvalidData, damage))
    }
}

impl Read for BlobReader {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if buffer.is_empty() {
            return Ok(0);
        }
        let count = self.inner.read(buffer)?;
        if count == 0 {
            self.prove()?;
        } else if let Some(hasher) = &mut self.hasher {
            hasher.update(&buffer[..count]);
            self.seen += count as u64;
        }
        Ok(count)
    }
}

impl fmt::Debug for BlobReader {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "BlobReader({}, {} of {} bytes)",
            self.id, self.seen, self.len
        )
    }
}
