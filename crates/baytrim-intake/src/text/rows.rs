//! The rows of a text, one at a time, none longer than the limit.

use std::cell::Cell;
use std::io::{self, Read};
use std::rc::Rc;

use csv::{ByteRecord, ReaderBuilder, Terminator};

use crate::bytes::{Fault, Gauge};
use crate::error::IntakeError;

/// What is told between a text and the rows that are made of it.
#[derive(Debug)]
struct Budget {
    /// Bytes that the row in hand may still draw.
    left: Cell<usize>,
    /// Whether the text ended without the end of a line.
    is_unterminated: Cell<bool>,
}

/// A text whose every line ends in a line feed, from which a row draws no more than its budget.
pub(crate) struct Lines<R> {
    inner: R,
    budget: Rc<Budget>,
    gauge: Rc<Gauge>,
    is_return_line_end: bool,
    last: u8,
    has_ended: bool,
}

impl<R: Read> Read for Lines<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.has_ended || buffer.is_empty() {
            return Ok(0);
        }
        let left = self.budget.left.get();
        if left == 0 {
            return Err(self.gauge.fail(Fault::RowTooLong));
        }
        let room = buffer.len().min(left);
        let count = self.inner.read(&mut buffer[..room])?;
        self.budget.left.set(left - count);
        if count == 0 {
            self.has_ended = true;
            if self.last == b'\n' {
                return Ok(0);
            }
            self.budget.is_unterminated.set(true);
            buffer[0] = b'\n';
            return Ok(1);
        }
        if self.is_return_line_end {
            for byte in &mut buffer[..count] {
                if *byte == b'\r' {
                    *byte = b'\n';
                }
            }
        }
        self.last = buffer[count - 1];
        Ok(count)
    }
}

/// The rows of a text, one at a time.
pub(crate) struct Rows<R> {
    reader: csv::Reader<Lines<R>>,
    budget: Rc<Budget>,
    gauge: Rc<Gauge>,
    source_name: String,
    row_bytes_max: usize,
    first_line: u64,
    record: ByteRecord,
    row: u64,
}

/// How a text is laid out.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Layout {
    /// What stands between cells.
    pub delimiter: u8,
    /// Line, from 1, at which the text begins in the file.
    pub first_line: u64,
    /// Whether a carriage return alone ends a line.
    pub is_return_line_end: bool,
}

impl<R: Read> Rows<R> {
    /// Returns the rows of `text`.
    pub(crate) fn new(
        text: R,
        layout: Layout,
        row_bytes_max: usize,
        gauge: &Rc<Gauge>,
        source_name: &str,
    ) -> Self {
        let budget = Rc::new(Budget {
            left: Cell::new(row_bytes_max),
            is_unterminated: Cell::new(false),
        });
        let lines = Lines {
            inner: text,
            budget: Rc::clone(&budget),
            gauge: Rc::clone(gauge),
            is_return_line_end: layout.is_return_line_end,
            last: b'\n',
            has_ended: false,
        };
        // A line feed alone ends a row, so that line numbers are right; the return before it is
        // trimmed off the last cell.
        let reader = ReaderBuilder::new()
            .delimiter(layout.delimiter)
            .has_headers(false)
            .flexible(true)
            .terminator(Terminator::Any(b'\n'))
            .from_reader(lines);
        Self {
            reader,
            budget,
            gauge: Rc::clone(gauge),
            source_name: source_name.to_owned(),
            row_bytes_max,
            first_line: layout.first_line,
            record: ByteRecord::new(),
            row: 0,
        }
    }

    /// Moves on to the next row that is not empty, and returns whether there is one.
    pub(crate) fn advance(&mut self) -> Result<bool, IntakeError> {
        self.budget.left.set(self.row_bytes_max);
        let line_before = self.reader.position().line();
        match self.reader.read_byte_record(&mut self.record) {
            Ok(is_there) => {
                let line_after = self.reader.position().line();
                let lines_inside = match line_after - line_before {
                    // As nearly always: nothing to count.
                    0 | 1 => 0,
                    _ => newline_count(self.record.as_slice()),
                };
                self.row = self.first_line + line_after.saturating_sub(2 + lines_inside);
                Ok(is_there)
            }
            Err(error) => Err(self.explain(error, self.first_line + line_before - 1)),
        }
    }

    fn explain(&self, error: csv::Error, row: u64) -> IntakeError {
        if matches!(*self.gauge.fault.borrow(), Some(Fault::RowTooLong)) {
            return IntakeError::RowTooLong {
                source_name: self.source_name.clone(),
                row,
                row_bytes_max: self.row_bytes_max,
            };
        }
        let error = match error.into_kind() {
            csv::ErrorKind::Io(error) => error,
            other => io::Error::other(format!("{other:?}")),
        };
        self.gauge.explain(&self.source_name, error)
    }

    /// Returns the line, from 1, at which the row in hand begins.
    pub(crate) fn row(&self) -> u64 {
        self.row
    }

    /// Returns the number of cells, empty ones at the end left out.
    pub(crate) fn filled_count(&self) -> usize {
        let count = self.record.len();
        let empty = (0..count)
            .rev()
            .take_while(|&index| self.cell(index).is_empty());
        count - empty.count()
    }

    /// Returns the number of cells.
    pub(crate) fn cell_count(&self) -> usize {
        self.record.len()
    }

    /// Returns a cell without spaces at its ends; an empty one where there is none.
    pub(crate) fn cell(&self, index: usize) -> &[u8] {
        self.record.get(index).unwrap_or_default().trim_ascii()
    }

    /// Returns whether the text ended in the middle of the row in hand.
    pub(crate) fn is_cut(&self) -> bool {
        self.budget.is_unterminated.get()
    }
}

fn newline_count(bytes: &[u8]) -> u64 {
    bytes.iter().map(|&byte| u64::from(byte == b'\n')).sum()
}
