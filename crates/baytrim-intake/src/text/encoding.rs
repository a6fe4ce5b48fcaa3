//! How the letters of a text are written, and their way to UTF-8.

use std::io::{self, Read};

use encoding_rs::{CoderResult, Decoder, UTF_16BE, UTF_16LE};

use crate::report::TextEncoding;

/// Bytes that are decoded at a time.
const BLOCK_BYTES: usize = 16 * 1024;

/// Returns how the letters of a text that begins with `head` are written, and the length of its
/// byte order mark.
pub(crate) fn detect(head: &[u8]) -> (TextEncoding, usize) {
    match head {
        [0xef, 0xbb, 0xbf, ..] => (TextEncoding::Utf8, 3),
        [0xff, 0xfe, ..] => (TextEncoding::Utf16Le, 2),
        [0xfe, 0xff, ..] => (TextEncoding::Utf16Be, 2),
        _ => (guess(head), 0),
    }
}

/// Column names and numbers are nearly all ASCII, so that in UTF-16 every other byte is zero.
fn guess(head: &[u8]) -> TextEncoding {
    let zeros = |parity: usize| {
        let bytes = head.iter().skip(parity).step_by(2);
        bytes.filter(|&&byte| byte == 0).count() * 10
    };
    let half = head.len() / 2;
    if half > 0 && zeros(1) >= half * 8 && zeros(0) < half {
        return TextEncoding::Utf16Le;
    }
    if half > 0 && zeros(0) >= half * 8 && zeros(1) < half {
        return TextEncoding::Utf16Be;
    }
    match std::str::from_utf8(head) {
        Ok(_) => TextEncoding::Utf8,
        // The head may end in the middle of a letter.
        Err(error) if error.error_len().is_none() => TextEncoding::Utf8,
        Err(_) => TextEncoding::Windows1252,
    }
}

/// A text in an encoding of which ASCII is a part: UTF-16 is decoded, the others pass as they are.
pub(crate) enum AsciiText<R> {
    /// As it is.
    AsIs(R),
    /// Decoded.
    Utf16(Utf16Text<R>),
}

impl<R: Read> AsciiText<R> {
    /// Returns `inner`, which follows a byte order mark and is written in `encoding`.
    pub(crate) fn new(inner: R, encoding: TextEncoding) -> Self {
        let decoder = match encoding {
            TextEncoding::Utf8 | TextEncoding::Windows1252 => return Self::AsIs(inner),
            TextEncoding::Utf16Le => UTF_16LE.new_decoder_without_bom_handling(),
            TextEncoding::Utf16Be => UTF_16BE.new_decoder_without_bom_handling(),
        };
        Self::Utf16(Utf16Text {
            inner,
            decoder,
            decoded: Vec::new(),
            taken: 0,
            ended: false,
        })
    }
}

impl<R: Read> Read for AsciiText<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::AsIs(inner) => inner.read(buffer),
            Self::Utf16(text) => text.read(buffer),
        }
    }
}

/// A UTF-16 text on its way to UTF-8.
pub(crate) struct Utf16Text<R> {
    inner: R,
    decoder: Decoder,
    decoded: Vec<u8>,
    taken: usize,
    ended: bool,
}

impl<R: Read> Utf16Text<R> {
    fn refill(&mut self) -> io::Result<()> {
        let mut block = [0; BLOCK_BYTES];
        let count = self.inner.read(&mut block)?;
        self.ended = count == 0;
        // Three bytes of UTF-8 for each two of UTF-16, and room for a letter that was kept back.
        self.decoded.resize(count * 3 + 16, 0);
        let (result, _, written, _) =
            self.decoder
                .decode_to_utf8(&block[..count], &mut self.decoded, self.ended);
        debug_assert!(result == CoderResult::InputEmpty, "the output has room");
        self.decoded.truncate(written);
        self.taken = 0;
        Ok(())
    }
}

impl<R: Read> Read for Utf16Text<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        while self.taken == self.decoded.len() && !self.ended {
            self.refill()?;
        }
        let rest = &self.decoded[self.taken..];
        let count = rest.len().min(buffer.len());
        buffer[..count].copy_from_slice(&rest[..count]);
        self.taken += count;
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A UTF-16 text whose letters fall across the decoder's blocks would be garbled.
    #[test]
    fn utf16_is_the_same_text_whatever_the_read_size() {
        let text = "Drehzahl °C;λ 😀\n".repeat(3000);
        let bytes: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        for step in [1, 3, 4096] {
            let slow = Slow {
                bytes: &bytes,
                step,
            };
            let mut decoded = String::new();
            AsciiText::new(slow, TextEncoding::Utf16Be)
                .read_to_string(&mut decoded)
                .expect("memory can be read");
            assert_eq!(decoded, text, "reading {step} bytes at a time");
        }
    }

    struct Slow<'a> {
        bytes: &'a [u8],
        step: usize,
    }

    impl Read for Slow<'_> {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            let count = self.step.min(buffer.len());
            self.bytes.read(&mut buffer[..count])
        }
    }
}
