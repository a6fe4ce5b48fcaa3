//! Segment files of a log: their names and headers. Pure but for paths.

use std::path::{Path, PathBuf};

use baytrim_ledger::Hash;

use crate::place::{Position, Reader};

/// Bytes of a segment's header.
pub(crate) const HEADER_BYTES: usize = 68;

const VERSION: u32 = 1;

/// Tells the two logs apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) enum LogKind {
    /// Records: kept for ever.
    Journal,
    /// Chunks of live pulls: forgotten when dropped.
    Spool,
}

impl LogKind {
    /// Returns the directory's name, which is also the log's name in messages.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Journal => "journal",
            Self::Spool => "spool",
        }
    }

    fn magic(self) -> &'static [u8; 8] {
        match self {
            Self::Journal => b"baytrimJ",
            Self::Spool => b"baytrimS",
        }
    }
}

/// Is what a segment says about itself and the one before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Header {
    /// Number of the segment, from 1.
    pub(crate) number: u32,
    /// Number of its first frame.
    pub(crate) first_seq: u64,
    /// Hash of the last frame of the segment before.
    pub(crate) prev_hash: Hash,
    /// Bytes of the segment before; 0 for the first.
    pub(crate) prev_len: u64,
}

impl Header {
    /// Returns the header of the first segment of a log.
    pub(crate) fn first() -> Self {
        Self {
            number: 1,
            first_seq: 1,
            prev_hash: Hash::ZERO,
            prev_len: 0,
        }
    }

    /// Returns the header of the segment that follows a log's end.
    pub(crate) fn after(end: &Position) -> Self {
        Self {
            number: end.segment + 1,
            first_seq: end.seq + 1,
            prev_hash: end.hash,
            prev_len: end.offset,
        }
    }

    /// Returns the position just after this header.
    pub(crate) fn start(&self) -> Position {
        let (seq, hash) = (self.first_seq - 1, self.prev_hash);
        Position {
            segment: self.number,
            offset: HEADER_BYTES as u64,
            seq,
            hash,
        }
    }

    pub(crate) fn encode(&self, kind: LogKind) -> Vec<u8> {
        let mut out = Vec::with_capacity(HEADER_BYTES);
        out.extend_from_slice(kind.magic());
        out.extend_from_slice(&VERSION.to_le_bytes());
        out.extend_from_slice(&self.number.to_le_bytes());
        out.extend_from_slice(&self.first_seq.to_le_bytes());
        out.extend_from_slice(&self.prev_hash.0);
        out.extend_from_slice(&self.prev_len.to_le_bytes());
        out.extend_from_slice(&crc32c::crc32c(&out).to_le_bytes());
        debug_assert_eq!(out.len(), HEADER_BYTES);
        out
    }

    /// Takes a header apart.
    ///
    /// # Errors
    /// Says what is wrong with it.
    pub(crate) fn decode(kind: LogKind, bytes: &[u8]) -> Result<Self, String> {
        let short = || "the segment header is cut short".to_owned();
        let content = bytes.get(..HEADER_BYTES - 4).ok_or_else(short)?;
        let mut reader = Reader(bytes);
        let magic = reader.bytes(8).ok_or_else(short)?;
        let version = reader.u32().ok_or_else(short)?;
        let header = Self {
            number: reader.u32().ok_or_else(short)?,
            first_seq: reader.u64().ok_or_else(short)?,
            prev_hash: reader.hash().ok_or_else(short)?,
            prev_len: reader.u64().ok_or_else(short)?,
        };
        if reader.u32().ok_or_else(short)? != crc32c::crc32c(content) {
            return Err("the segment header's checksum is wrong".to_owned());
        }
        if magic != kind.magic() || version != VERSION || header.first_seq == 0 {
            return Err(format!(
                "this is not a {} segment of version {VERSION}",
                kind.name()
            ));
        }
        Ok(header)
    }
}

/// Returns the file of segment `number`.
pub(crate) fn path(dir: &Path, number: u32) -> PathBuf {
    dir.join(format!("{number:010}.seg"))
}

/// Returns the number in a segment's file name.
pub(crate) fn number_of(name: &str) -> Option<u32> {
    let digits = name.strip_suffix(".seg")?;
    let all_digits = digits.len() == 10 && digits.bytes().all(|byte| byte.is_ascii_digit());
    all_digits.then(|| digits.parse().ok()).flatten()
}
