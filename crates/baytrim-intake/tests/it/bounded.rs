//! A log takes no more of the machine than it is given.

use std::cell::Cell;
use std::io::{self, Read};
use std::rc::Rc;

use baytrim_intake::{IntakeError, LogLimits, standard_channels};

use crate::support::{gzip, plain, read, read_source, zstd};

/// A file without end, which counts what is drawn from it.
struct Endless {
    head: Vec<u8>,
    body: Vec<u8>,
    at: usize,
    drawn: Rc<Cell<u64>>,
}

impl Endless {
    fn new(head: &str, body: &str) -> (Self, Rc<Cell<u64>>) {
        let drawn = Rc::new(Cell::new(0));
        let endless = Self {
            head: head.as_bytes().to_vec(),
            body: body.as_bytes().to_vec(),
            at: 0,
            drawn: Rc::clone(&drawn),
        };
        (endless, drawn)
    }
}

impl Read for Endless {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        for byte in buffer.iter_mut() {
            let beyond = self.at.checked_sub(self.head.len());
            *byte = match beyond {
                None => self.head[self.at],
                Some(beyond) => self.body[beyond % self.body.len()],
            };
            self.at += 1;
        }
        self.drawn.set(self.drawn.get() + buffer.len() as u64);
        Ok(buffer.len())
    }
}

const HEADER: &str = "offset_s,rpm,plate_percent,lambda\n";

/// A row without end, be it one line or one open quotation, would fill the memory.
#[test]
fn a_row_without_end_is_refused_at_the_row_limit() {
    let bodies = ["0", "0,", "\n", ",,,\n0", " "];
    for (head, body) in [
        (HEADER, bodies[0]),
        (HEADER, bodies[1]),
        (HEADER, bodies[2]),
        ("offset_s,rpm,plate_percent,lambda\n\"", bodies[3]),
        (HEADER, bodies[4]),
    ] {
        let (mut endless, drawn) = Endless::new(head, body);
        let limits = LogLimits::default();
        let error = read_source(&mut endless, &standard_channels(), &limits).unwrap_err();
        assert_eq!(error.reason(), "LOG_ROW_TOO_LONG", "{body:?}: {error}");
        let drawn_max = (limits.head_bytes_max + 2 * limits.row_bytes_max + 65_536) as u64;
        assert!(
            drawn.get() < drawn_max,
            "{body:?} drew {} bytes",
            drawn.get()
        );
    }
}

/// A log without end, or a head without a header, would be read for ever.
#[test]
fn a_log_without_end_is_refused() {
    let limits = LogLimits {
        bytes_max: 4_000_000,
        rows_max: 100_000,
        ..LogLimits::default()
    };
    for (head, body, reason) in [
        (HEADER, "# a remark\n", "LOG_TOO_MANY_BYTES"),
        (HEADER, ",,,\n", "LOG_TOO_MANY_BYTES"),
        ("", "some prose\n", "LOG_HEADER_MISSING"),
        ("", "\n", "LOG_EMPTY"),
        ("", "0,0,0\n", "LOG_HEADER_MISSING"),
        ("\u{1f}", "\u{0}", "LOG_NOT_TEXT"),
    ] {
        let (mut endless, drawn) = Endless::new(head, body);
        let error = read_source(&mut endless, &standard_channels(), &limits).unwrap_err();
        assert_eq!(error.reason(), reason, "{head:?} {body:?}: {error}");
        assert!(
            drawn.get() < 5_000_000,
            "{body:?} drew {} bytes",
            drawn.get()
        );
    }
    let mut map = standard_channels();
    map.time.column = None;
    map.time.rate_hz = Some(100.0);
    let (mut endless, drawn) = Endless::new(HEADER, "0,2000,10,0.9\n");
    let error = read_source(&mut endless, &map, &limits).unwrap_err();
    assert!(
        matches!(
            error,
            IntakeError::TooManyRows {
                rows_max: 100_000,
                ..
            }
        ),
        "{error}"
    );
    assert!(drawn.get() < 2_000_000, "drew {} bytes", drawn.get());
}

/// A small gzip file that unpacks to a gigabyte would fill the memory or keep the daemon busy.
#[test]
fn a_bomb_is_refused_before_it_is_unpacked() {
    let remarks = format!("{HEADER}{}", "# nothing to see here\n".repeat(1_000_000));
    let limits = LogLimits {
        bytes_max: 1_000_000,
        ..LogLimits::default()
    };
    for pack in [gzip, zstd] {
        let bomb = pack(remarks.as_bytes());
        assert!(bomb.len() < 150_000, "the bomb has {} bytes", bomb.len());
        let error = read_source(&mut bomb.as_slice(), &standard_channels(), &limits).unwrap_err();
        assert_eq!(error.reason(), "LOG_TOO_MANY_BYTES");
        let zeros = pack(&vec![0; 10_000_000]);
        assert_eq!(read(&zeros).unwrap_err().reason(), "LOG_NOT_TEXT");
    }
}

/// A source that hands over single bytes, or is interrupted, must give the same samples.
#[test]
fn the_size_of_reads_does_not_matter() {
    struct Halting<'a>(&'a [u8], bool);
    impl Read for Halting<'_> {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            self.1 = !self.1;
            if self.1 {
                return Err(io::ErrorKind::Interrupted.into());
            }
            let count = buffer.len().min(1);
            self.0.read(&mut buffer[..count])
        }
    }
    let plain = plain();
    let expected = read(plain.as_bytes()).unwrap();
    let packed = [gzip(plain.as_bytes()), zstd(plain.as_bytes())];
    for bytes in [plain.as_bytes(), &packed[0], &packed[1]] {
        let mut source = Halting(bytes, false);
        let limits = LogLimits::default();
        let intake = read_source(&mut source, &standard_channels(), &limits).unwrap();
        assert_eq!(intake.samples, expected.samples);
    }
}
