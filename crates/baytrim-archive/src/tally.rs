//! Readers and writers that hash and count what passes.

use std::io::{Read, Result, Write};

use baytrim_ledger::{Hash, Hasher};

use crate::form::{BLOCK_BYTES, END_BYTES_MAX};

/// Most bytes of the last entry: its header and what it says.
const WINDOW_BYTES: usize = BLOCK_BYTES + END_BYTES_MAX;

/// Hashes and counts what is read through it, but for a window at the end: so that, once the last entry has been
/// read, the hash of all before it can be told.
pub(crate) struct ReadTally<R> {
    inner: R,
    hasher: Hasher,
    held: Vec<u8>,
    bytes: u64,
}

impl<R: Read> ReadTally<R> {
    pub(crate) fn new(inner: R) -> Self {
        Self {
            inner,
            hasher: Hasher::new(),
            held: Vec::new(),
            bytes: 0,
        }
    }

    pub(crate) fn count(&self) -> u64 {
        self.bytes
    }

    /// Returns the hash of all but the last `len` bytes that were read, at most those of the window.
    pub(crate) fn hash_before(&self, len: usize) -> Hash {
        let mut hasher = self.hasher.clone();
        hasher.update(&self.held[..self.held.len().saturating_sub(len)]);
        hasher.finish()
    }
}

impl<R: Read> Read for ReadTally<R> {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize> {
        let count = self.inner.read(buffer)?;
        self.bytes += count as u64;
        self.held.extend_from_slice(&buffer[..count]);
        let passed = self.held.len().saturating_sub(WINDOW_BYTES);
        self.hasher.update(&self.held[..passed]);
        self.held.drain(..passed);
        Ok(count)
    }
}

/// Hashes and counts what is written through it.
pub(crate) struct WriteTally<W> {
    inner: W,
    hasher: Hasher,
    bytes: u64,
}

impl<W: Write> WriteTally<W> {
    pub(crate) fn new(inner: W) -> Self {
        Self {
            inner,
            hasher: Hasher::new(),
            bytes: 0,
        }
    }

    pub(crate) fn count(&self) -> u64 {
        self.bytes
    }

    pub(crate) fn hash(&self) -> Hash {
        self.hasher.clone().finish()
    }
}

impl<W: Write> Write for WriteTally<W> {
    fn write(&mut self, buffer: &[u8]) -> Result<usize> {
        let count = self.inner.write(buffer)?;
        self.hasher.update(&buffer[..count]);
        self.bytes += count as u64;
        Ok(count)
    }

    fn flush(&mut self) -> Result<()> {
        self.inner.flush()
    }
}
