//! The bytes of a log, unpacked and within the limit.

mod zstd;

use std::cell::{Cell, RefCell};
use std::io::{self, BufReader, Chain, Cursor, Read};
use std::rc::Rc;

use flate2::bufread::MultiGzDecoder;

use crate::error::IntakeError;
use crate::report::Compression;
use zstd::{ZstdFault, ZstdFrames};

/// First bytes of a gzip file, RFC 1952 section 2.3.1, with deflate as its only method.
const GZIP_MAGIC: [u8; 3] = [0x1f, 0x8b, 8];

/// Bytes that tell how a file is packed.
const PACKING_BYTES: u64 = 4;

/// What went wrong while bytes were fetched; readers can only say `io::Error`, so it is left here.
#[derive(Debug)]
pub(crate) enum Fault {
    /// The source failed.
    Source(io::Error),
    /// The packed file ends too early.
    Truncated,
    /// The packed file is damaged.
    Corrupt(io::Error),
    /// The packed file asks for more memory than it may have.
    WindowTooLarge,
    /// More bytes than allowed.
    TooManyBytes,
    /// A row longer than allowed.
    RowTooLong,
}

/// What readers and their user tell each other.
#[derive(Debug, Default)]
pub(crate) struct Gauge {
    /// Bytes so far, after decompression.
    pub byte_count: Cell<u64>,
    /// What went wrong, if anything did.
    pub fault: RefCell<Option<Fault>>,
}

impl Gauge {
    /// Leaves `fault` to be found and returns the error that stops the reader.
    pub(crate) fn fail(&self, fault: Fault) -> io::Error {
        self.fault.borrow_mut().get_or_insert(fault);
        io::Error::other("the log cannot be read on")
    }

    /// Returns the reason for which reading stopped.
    pub(crate) fn explain(&self, source_name: &str, error: io::Error) -> IntakeError {
        let source_name = source_name.to_owned();
        let byte_count = self.byte_count.get();
        match self.fault.borrow_mut().take() {
            Some(Fault::Source(source)) => IntakeError::Unreadable {
                source_name,
                source,
            },
            Some(Fault::Truncated) => IntakeError::Truncated {
                source_name,
                byte_count,
            },
            Some(Fault::Corrupt(source)) => IntakeError::Corrupt {
                source_name,
                byte_count,
                source,
            },
            Some(Fault::WindowTooLarge) => IntakeError::UnsupportedFormat {
                source_name,
                kind: "a zstd file that needs more than 32 MiB at hand to unpack",
            },
            Some(Fault::TooManyBytes) => IntakeError::TooManyBytes {
                source_name,
                bytes_max: byte_count,
            },
            Some(Fault::RowTooLong) | None => IntakeError::Unreadable {
                source_name,
                source: error,
            },
        }
    }
}

/// The source, whose errors are left in the gauge.
struct Source<'a> {
    inner: &'a mut dyn Read,
    gauge: Rc<Gauge>,
}

impl Read for Source<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            match self.inner.read(buffer) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(self.gauge.fail(Fault::Source(error))),
                Ok(count) => return Ok(count),
            }
        }
    }
}

type Packed<'a> = Chain<Cursor<Vec<u8>>, Source<'a>>;

enum Unpacker<'a> {
    Plain(Packed<'a>),
    Gzip(Box<MultiGzDecoder<BufReader<Packed<'a>>>>),
    Zstd(Box<ZstdFrames<BufReader<Packed<'a>>>>),
}

/// The bytes of a log, unpacked and within the limit.
pub(crate) struct LogBytes<'a> {
    unpacker: Unpacker<'a>,
    bytes_max: u64,
    gauge: Rc<Gauge>,
}

impl<'a> LogBytes<'a> {
    /// Opens `source`; whether it is packed is told by its first bytes.
    pub(crate) fn open(
        source: &'a mut dyn Read,
        bytes_max: u64,
        gauge: &Rc<Gauge>,
    ) -> io::Result<Self> {
        let mut source = Source {
            inner: source,
            gauge: Rc::clone(gauge),
        };
        let mut first = Vec::new();
        (&mut source).take(PACKING_BYTES).read_to_end(&mut first)?;
        let is_gzip = first.starts_with(&GZIP_MAGIC);
        let is_zstd = zstd::is_zstd(&first);
        let packed = Cursor::new(first).chain(source);
        let unpacker = if is_gzip {
            Unpacker::Gzip(Box::new(MultiGzDecoder::new(BufReader::new(packed))))
        } else if is_zstd {
            Unpacker::Zstd(Box::new(ZstdFrames::new(BufReader::new(packed))))
        } else {
            Unpacker::Plain(packed)
        };
        Ok(Self {
            unpacker,
            bytes_max,
            gauge: Rc::clone(gauge),
        })
    }

    /// Returns how the log is packed.
    pub(crate) fn compression(&self) -> Compression {
        match self.unpacker {
            Unpacker::Plain(_) => Compression::None,
            Unpacker::Gzip(_) => Compression::Gzip,
            Unpacker::Zstd(_) => Compression::Zstd,
        }
    }

    fn unpack(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        // A fault of the source keeps its place in the gauge: the first one stands.
        let fault = match &mut self.unpacker {
            Unpacker::Plain(packed) => return packed.read(buffer),
            Unpacker::Gzip(gzip) => match gzip.read(buffer) {
                Ok(count) => return Ok(count),
                Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => Fault::Truncated,
                Err(error) => Fault::Corrupt(error),
            },
            Unpacker::Zstd(zstd) => match zstd.read(buffer) {
                Ok(count) => return Ok(count),
                Err(ZstdFault::Ended) => Fault::Truncated,
                Err(ZstdFault::WindowTooLarge) => Fault::WindowTooLarge,
                Err(ZstdFault::Corrupt(error)) => Fault::Corrupt(error),
            },
        };
        Err(self.gauge.fail(fault))
    }
}

impl Read for LogBytes<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.unpack(buffer)?;
        let byte_count = self.gauge.byte_count.get() + count as u64;
        if byte_count > self.bytes_max {
            self.gauge.byte_count.set(self.bytes_max);
            return Err(self.gauge.fail(Fault::TooManyBytes));
        }
        self.gauge.byte_count.set(byte_count);
        Ok(count)
    }
}
