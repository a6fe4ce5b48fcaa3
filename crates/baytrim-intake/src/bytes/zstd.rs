//! The content of a zstd file, RFC 8878: frames, one after the other.

use std::io::{self, Cursor, Read};

use ruzstd::decoding::errors::{FrameDecoderError, ReadFrameHeaderError};
use ruzstd::decoding::{BlockDecodingStrategy, FrameDecoder};

/// Most bytes that a frame may ask to have at hand while it is unpacked. 32 MiB: what the format's
/// usual packers ask for below their two highest levels; RFC 8878 section 3.1.1.1.2 recommends
/// at least 8 MB.
pub(super) const WINDOW_BYTES_MAX: u64 = 32 * 1024 * 1024;

/// The format's first bytes: RFC 8878 section 3.1.1.
const FRAME_MAGIC: [u8; 4] = [0x28, 0xb5, 0x2f, 0xfd];

/// Returns whether a file that begins with `head` is zstd: a frame, or one that is to be skipped
/// (RFC 8878 section 3.1.2).
pub(super) fn is_zstd(head: &[u8]) -> bool {
    head.starts_with(&FRAME_MAGIC)
        || matches!(head, [first, 0x2a, 0x4d, 0x18, ..] if first >> 4 == 5)
}

/// What is wrong with a zstd file.
#[derive(Debug)]
pub(super) enum ZstdFault {
    /// It ends in the middle of a frame, or its source failed.
    Ended,
    /// It asks for more memory than it may have.
    WindowTooLarge,
    /// It is damaged.
    Corrupt(io::Error),
}

/// The content of a zstd file.
pub(super) struct ZstdFrames<R> {
    source: Watched<R>,
    decoder: FrameDecoder,
    is_inside: bool,
}

/// A source that remembers its end.
struct Watched<R> {
    inner: R,
    has_ended: bool,
}

impl<R: Read> Read for Watched<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer);
        let is_end = matches!(count, Ok(0)) && !buffer.is_empty();
        self.has_ended |= is_end || count.is_err();
        count
    }
}

impl<R: Read> ZstdFrames<R> {
    /// Returns the content of `source`, which is read to its end.
    pub(super) fn new(source: R) -> Self {
        let mut decoder = FrameDecoder::new();
        decoder.set_max_window_size(WINDOW_BYTES_MAX);
        Self {
            source: Watched {
                inner: source,
                has_ended: false,
            },
            decoder,
            is_inside: false,
        }
    }

    /// Fills the beginning of `buffer` and returns how many bytes; 0 at the end.
    pub(super) fn read(&mut self, buffer: &mut [u8]) -> Result<usize, ZstdFault> {
        loop {
            if !self.is_inside && !self.open_frame()? {
                return Ok(0);
            }
            while self.decoder.can_collect() == 0 && !self.decoder.is_finished() {
                let one = BlockDecodingStrategy::UptoBlocks(1);
                let decoded = self.decoder.decode_blocks(&mut self.source, one);
                decoded.map_err(|error| self.fault(error))?;
            }
            let count = self.decoder.read(buffer).map_err(ZstdFault::Corrupt)?;
            if count > 0 || buffer.is_empty() {
                return Ok(count);
            }
            self.close_frame()?;
        }
    }

    /// Opens the next frame and returns whether there is one.
    fn open_frame(&mut self) -> Result<bool, ZstdFault> {
        loop {
            let mut first = [0];
            match self.source.read(&mut first) {
                Ok(0) => return Ok(false),
                Ok(_) => {}
                Err(error) => return Err(ZstdFault::Corrupt(error)),
            }
            match self
                .decoder
                .reset(Cursor::new(first).chain(&mut self.source))
            {
                Ok(()) => {
                    self.is_inside = true;
                    return Ok(true);
                }
                Err(FrameDecoderError::ReadFrameHeaderError(ReadFrameHeaderError::SkipFrame {
                    length,
                    ..
                })) => self.skip(u64::from(length))?,
                Err(error) => return Err(self.fault(error)),
            }
        }
    }

    fn skip(&mut self, byte_count: u64) -> Result<(), ZstdFault> {
        let mut skipped = (&mut self.source).take(byte_count);
        match io::copy(&mut skipped, &mut io::sink()) {
            Ok(count) if count == byte_count => Ok(()),
            Ok(_) => Err(ZstdFault::Ended),
            Err(error) => Err(ZstdFault::Corrupt(error)),
        }
    }

    /// Checks the frame's own checksum, where it has one.
    fn close_frame(&mut self) -> Result<(), ZstdFault> {
        self.is_inside = false;
        let stated = self.decoder.get_checksum_from_data();
        if stated.is_some() && stated != self.decoder.get_calculated_checksum() {
            let error = io::Error::new(io::ErrorKind::InvalidData, "the checksum does not match");
            return Err(ZstdFault::Corrupt(error));
        }
        Ok(())
    }

    fn fault(&self, error: FrameDecoderError) -> ZstdFault {
        match error {
            FrameDecoderError::WindowSizeTooBig { .. } => ZstdFault::WindowTooLarge,
            _ if self.source.has_ended => ZstdFault::Ended,
            error => ZstdFault::Corrupt(io::Error::new(io::ErrorKind::InvalidData, error)),
        }
    }
}
