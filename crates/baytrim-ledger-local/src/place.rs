//! Where things are in a log.

use baytrim_ledger::Hash;

/// Is the end of a log: everything up to here has been seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Position {
    /// Segment number.
    pub(crate) segment: u32,
    /// Byte offset in the segment just after the last frame.
    pub(crate) offset: u64,
    /// Number of the last frame; 0 before the first.
    pub(crate) seq: u64,
    /// Hash of the last frame; zero before the first.
    pub(crate) hash: Hash,
}

impl Position {
    pub(crate) const BYTES: usize = 52;

    pub(crate) fn encode(&self, out: &mut Vec<u8>) {
        out.extend_from_slice(&self.segment.to_le_bytes());
        out.extend_from_slice(&self.offset.to_le_bytes());
        out.extend_from_slice(&self.seq.to_le_bytes());
        out.extend_from_slice(&self.hash.0);
    }

    pub(crate) fn decode(reader: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            segment: reader.u32()?,
            offset: reader.u64()?,
            seq: reader.u64()?,
            hash: reader.hash()?,
        })
    }
}

/// Says where one frame begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    /// Segment number.
    pub(crate) segment: u32,
    /// Byte offset of the frame's header in the segment.
    pub(crate) offset: u64,
    /// Bytes of the whole frame.
    pub(crate) len: u32,
}

impl Place {
    pub(crate) const BYTES: usize = 16;

    pub(crate) fn encode(&self) -> [u8; Self::BYTES] {
        let mut out = [0; Self::BYTES];
        out[..4].copy_from_slice(&self.segment.to_le_bytes());
        out[4..12].copy_from_slice(&self.offset.to_le_bytes());
        out[12..].copy_from_slice(&self.len.to_le_bytes());
        out
    }

    pub(crate) fn decode(bytes: &[u8]) -> Option<Self> {
        let mut reader = Reader(bytes);
        let place = Self {
            segment: reader.u32()?,
            offset: reader.u64()?,
            len: reader.u32()?,
        };
        reader.0.is_empty().then_some(place)
    }
}

/// Takes little-endian numbers off the front of bytes.
pub(crate) struct Reader<'a>(pub(crate) &'a [u8]);

impl<'a> Reader<'a> {
    pub(crate) fn bytes(&mut self, count: usize) -> Option<&'a [u8]> {
        let (front, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(front)
    }

    fn array<const N: usize>(&mut self) -> Option<[u8; N]> {
        self.bytes(N)?.try_into().ok()
    }

    pub(crate) fn u8(&mut self) -> Option<u8> {
        self.array().map(u8::from_le_bytes)
    }

    pub(crate) fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_le_bytes)
    }

    pub(crate) fn u64(&mut self) -> Option<u64> {
        self.array().map(u64::from_le_bytes)
    }

    pub(crate) fn hash(&mut self) -> Option<Hash> {
        self.array().map(Hash)
    }
}
