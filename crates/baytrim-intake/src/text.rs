//! Reads delimited text.

mod cells;
mod encoding;
mod header;
mod marks;
mod no_header;
mod number;
mod preview;
mod rows;
mod time;

use std::io::{self, Chain, Cursor, Read};
use std::rc::Rc;

use baytrim_model::channel::Channel;
use baytrim_model::pull::PullWarning;

use crate::assemble::Assembler;
use crate::bytes::Gauge;
use crate::error::IntakeError;
use crate::limits::LogLimits;
use crate::read::LogJob;
use crate::report::{Intake, IntakeReport, LogFormat, TextEncoding};
use crate::suggest::table::RawTable;
#[cfg(feature = "columnar")]
pub(crate) use number::{CellValue, NumberReader, read_flag_word};
#[cfg(feature = "columnar")]
pub(crate) use time::TimeReader;

use cells::CellReader;
use encoding::AsciiText;
use header::Header;
use rows::{Layout, Rows};

/// Bytes from which the encoding is told.
const ENCODING_BYTES: u64 = 8 * 1024;

/// Reads `bytes`, which are unpacked and of no other known kind, as delimited text.
pub(crate) fn read_text(bytes: impl Read, job: &LogJob<'_>) -> Result<Intake, IntakeError> {
    let opened = OpenText::open(bytes, job.limits, job.gauge, job.source_name)?;
    let header = header::find_header(&opened.head, opened.is_whole, job.map, job.source_name)?;
    let encoding = opened.encoding;
    let mark = opened.decimal_mark(&header);
    let rows = opened.rows(&header, job.limits, job.gauge, job.source_name);
    read_rows(rows, &header, mark, encoding, job)
}

/// Looks at `bytes`, which are unpacked and of no other known kind, without a channel map.
pub(crate) fn preview_text(
    bytes: impl Read,
    limits: &LogLimits,
    gauge: &Rc<Gauge>,
    source_name: &str,
) -> Result<RawTable, IntakeError> {
    let opened = OpenText::open(bytes, limits, gauge, source_name)?;
    let header = header::guess_header(&opened.head, opened.is_whole, source_name)?;
    check_column_count(&header, limits, source_name)?;
    let mark = opened.decimal_mark(&header);
    let rows = opened.rows(&header, limits, gauge, source_name);
    preview::preview(rows, &header, mark, source_name)
}

/// A text whose beginning was looked at.
struct OpenText<R> {
    encoding: TextEncoding,
    head: Vec<u8>,
    is_whole: bool,
    is_return_line_end: bool,
    rest: R,
}

impl<R: Read> OpenText<AsciiText<Chain<Cursor<Vec<u8>>, R>>> {
    fn open(
        mut bytes: R,
        limits: &LogLimits,
        gauge: &Rc<Gauge>,
        source_name: &str,
    ) -> Result<Self, IntakeError> {
        let explain = |error| gauge.explain(source_name, error);
        let mut raw_head = Vec::new();
        (&mut bytes)
            .take(ENCODING_BYTES)
            .read_to_end(&mut raw_head)
            .map_err(explain)?;
        let (encoding, mark_bytes) = encoding::detect(&raw_head);
        let mut raw_head = Cursor::new(raw_head);
        raw_head.set_position(mark_bytes as u64);
        let mut rest = AsciiText::new(raw_head.chain(bytes), encoding);
        let head_bytes_max = limits.head_bytes_max;
        let mut head = Vec::new();
        (&mut rest)
            .take(head_bytes_max as u64)
            .read_to_end(&mut head)
            .map_err(explain)?;
        refuse_binary(&head, source_name)?;
        let is_return_line_end = head.contains(&b'\r') && !head.contains(&b'\n');
        if is_return_line_end {
            head.iter_mut()
                .filter(|byte| **byte == b'\r')
                .for_each(|byte| *byte = b'\n');
        }
        Ok(Self {
            encoding,
            is_whole: head.len() < head_bytes_max,
            head,
            is_return_line_end,
            rest,
        })
    }
}

impl<R: Read> OpenText<R> {
    /// Returns what stands before decimals below `header`, where the first rows tell.
    fn decimal_mark(&self, header: &Header) -> Option<u8> {
        let body = self.head.get(header.body_byte..).unwrap_or_default();
        marks::decimal_mark(body, self.is_whole, header.delimiter)
    }

    /// Returns the rows below `header`.
    fn rows(
        self,
        header: &Header,
        limits: &LogLimits,
        gauge: &Rc<Gauge>,
        source_name: &str,
    ) -> Rows<Chain<Cursor<Vec<u8>>, R>> {
        let layout = Layout {
            delimiter: header.delimiter,
            first_line: header.row + 1,
            is_return_line_end: self.is_return_line_end,
        };
        let mut body = Cursor::new(self.head);
        body.set_position(header.body_byte as u64);
        Rows::new(
            body.chain(self.rest),
            layout,
            limits.row_bytes_max,
            gauge,
            source_name,
        )
    }
}

/// Control characters do not occur in text, save white space and the end mark of old systems.
/// Zeros at the end are what some loggers leave when their power fails: the row there counts as cut.
fn refuse_binary(head: &[u8], source_name: &str) -> Result<(), IntakeError> {
    let is_strange = |byte: &u8| *byte < b' ' && !b"\t\n\r\x0b\x0c\x1a".contains(byte);
    let zeros = head.iter().rev().take_while(|&&byte| byte == 0).count();
    let text = match head.len() - zeros {
        0 => head,
        length => &head[..length],
    };
    match text.iter().position(is_strange) {
        None => Ok(()),
        Some(byte) => Err(IntakeError::NotText {
            source_name: source_name.to_owned(),
            byte: byte as u64,
            value: head[byte],
        }),
    }
}

/// What was passed over on the way.
#[derive(Default)]
struct PassedOver {
    unit_row: Option<u64>,
    row_count: u64,
    cut_row: Option<u64>,
}

fn read_rows<R: Read>(
    mut rows: Rows<R>,
    header: &Header,
    mark: Option<u8>,
    encoding: TextEncoding,
    job: &LogJob<'_>,
) -> Result<Intake, IntakeError> {
    check_columns(header, job)?;
    let has = |channel: &Channel| header.find(&channel.column).is_some();
    let mut assembler = Assembler::new(job.source_name, job.map, job.fuel, job.limits, has);
    let mut cells = CellReader::new(header, job.map, &assembler, job.source_name, mark);
    let mut passed_over = PassedOver::default();
    let mut last = None;
    while rows.advance()? {
        let is_first = last.is_none() && passed_over.unit_row.is_none();
        if is_remark(&rows, header) {
            passed_over.row_count += 1;
        } else if is_first && cells.is_unit_row(&rows) {
            passed_over.unit_row = Some(rows.row());
        } else if rows.cell_count() < header.columns.len() && rows.is_cut() {
            passed_over.cut_row = Some(rows.row());
        } else {
            check_width(&rows, header, job.source_name)?;
            let time = cells.read(&rows)?;
            assembler.push(rows.row(), time, cells.raw())?;
            last = Some((rows.row(), time));
        }
    }
    let Some((last_row, last_time)) = last else {
        return Err(IntakeError::NoRows {
            source_name: job.source_name.to_owned(),
            row: header.row,
        });
    };
    let decimal_mark = cells.decimal_mark();
    let used = cells.into_used();
    let assembled = assembler.finish(last_row, last_time)?;
    let mut warnings = assembled.warnings;
    warnings.extend(passed_over.cut_row.map(|row| PullWarning {
        code: "cut_row".to_owned(),
        message: format!("row {row}, the last one, was cut short in writing and is left out"),
    }));
    let report = IntakeReport {
        format: LogFormat::DelimitedText,
        compression: job.compression,
        encoding: Some(encoding),
        delimiter: Some(char::from(header.delimiter)),
        decimal_mark,
        header_row: header.row,
        unit_row: passed_over.unit_row,
        row_count: assembled.samples.len() as u64,
        passed_over_count: passed_over.row_count,
        cut_row: passed_over.cut_row,
        byte_count: job.gauge.byte_count.get(),
        channels: assembled.channels,
        clock: assembled.clock,
        unused_columns: unused_columns(header, &used),
        warnings,
    };
    Ok(Intake {
        samples: assembled.samples,
        report,
    })
}

fn unused_columns(header: &Header, used: &[usize]) -> Vec<String> {
    header
        .columns
        .iter()
        .enumerate()
        .filter(|(index, name)| !used.contains(index) && !name.is_empty())
        .map(|(_, name)| name.clone())
        .collect()
}

fn check_column_count(
    header: &Header,
    limits: &LogLimits,
    source_name: &str,
) -> Result<(), IntakeError> {
    if header.columns.len() > limits.columns_max {
        return Err(IntakeError::TooManyColumns {
            source_name: source_name.to_owned(),
            row: header.row,
            column_count: header.columns.len(),
            columns_max: limits.columns_max,
        });
    }
    Ok(())
}

fn check_columns(header: &Header, job: &LogJob<'_>) -> Result<(), IntakeError> {
    let source_name = job.source_name.to_owned();
    check_column_count(header, job.limits, job.source_name)?;
    let channels = job.map.channels.values().map(|channel| &channel.column);
    for column in job.map.time.column.iter().chain(channels) {
        let named = header.columns.iter().enumerate();
        let mut places = named.filter(|(_, name)| *name == column.trim());
        if let (Some((first, _)), Some((second, _))) = (places.next(), places.next()) {
            return Err(IntakeError::ColumnTwice {
                source_name,
                row: header.row,
                column: column.trim().to_owned(),
                first: first + 1,
                second: second + 1,
            });
        }
    }
    Ok(())
}

/// A row that holds nothing, a remark, or the end mark of old systems.
fn is_remark<R: Read>(rows: &Rows<R>, header: &Header) -> bool {
    let first = rows.cell(0);
    match first {
        [] => rows.filled_count() == 0,
        [0x1a] => rows.cell_count() == 1,
        [b'#', b' ' | b'#', ..] => true,
        [b'#', ..] => rows.cell_count() < header.columns.len(),
        _ => false,
    }
}

fn check_width<R: Read>(
    rows: &Rows<R>,
    header: &Header,
    source_name: &str,
) -> Result<(), IntakeError> {
    let column_count = header.columns.len();
    let cell_count = rows.cell_count();
    let is_too_wide = cell_count > column_count && rows.filled_count() > column_count;
    if cell_count < column_count || is_too_wide {
        return Err(IntakeError::RowWidth {
            source_name: source_name.to_owned(),
            row: rows.row(),
            cell_count,
            column_count,
        });
    }
    Ok(())
}

/// Returns the first bytes of `bytes`, and a reader of all of them.
pub(crate) fn peek<R: Read>(
    mut bytes: R,
    byte_count: u64,
) -> io::Result<(Vec<u8>, impl Read + use<R>)> {
    let mut head = Vec::new();
    (&mut bytes).take(byte_count).read_to_end(&mut head)?;
    Ok((head.clone(), Cursor::new(head).chain(bytes)))
}
