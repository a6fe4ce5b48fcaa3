//! Finds the row of column names, and with it what stands between columns.

use baytrim_model::channel::ChannelMap;
use csv::{ReaderBuilder, StringRecord, Terminator};

use crate::error::IntakeError;
use crate::place::decode;
use crate::wanted::{check_evidence, column_missing, wanted};

use super::no_header;
use super::number::read_flag_word;
use super::time::{read_clock_time, read_date};

/// What may stand between columns, most common first.
pub(super) const DELIMITERS: [u8; 3] = [b',', b';', b'\t'];

/// The row of column names.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Header {
    /// What stands between columns.
    pub delimiter: u8,
    /// Line, from 1.
    pub row: u64,
    /// The names, without spaces at their ends and without empty ones at the end.
    pub columns: Vec<String>,
    /// Byte of the head at which the line below begins.
    pub body_byte: usize,
}

impl Header {
    /// Returns the place of the column that is named `column`, from 0.
    pub(crate) fn find(&self, column: &str) -> Option<usize> {
        self.columns.iter().position(|name| name == column.trim())
    }
}

/// Finds the header that has the columns of `map` in the first lines of a text.
///
/// `head` is how the text begins; it is the whole text where `is_whole`. A header is one line.
pub(crate) fn find_header(
    head: &[u8],
    is_whole: bool,
    map: &ChannelMap,
    source_name: &str,
) -> Result<Header, IntakeError> {
    let wanted = wanted(map);
    let mut best: Option<(usize, usize, Header)> = None;
    for (row, body_byte, line) in lines(head, is_whole) {
        for delimiter in DELIMITERS {
            let header = Header {
                delimiter,
                row,
                columns: split(line, delimiter),
                body_byte,
            };
            let found_count = wanted
                .iter()
                .filter(|wanted| header.find(wanted.column).is_some())
                .count();
            if found_count == wanted.len() {
                check_evidence(&header.columns, header.row, map, source_name)?;
                return Ok(header);
            }
            let rank = (found_count, header.columns.len());
            if best.as_ref().is_none_or(|best| rank > (best.0, best.1)) {
                best = Some((rank.0, rank.1, header));
            }
        }
    }
    let Some((found_count, _, nearest)) = best else {
        return Err(IntakeError::Empty {
            source_name: source_name.to_owned(),
        });
    };
    // Not one name is there: the row that looks like names serves better than the widest one.
    let nearest = match guess_header(head, is_whole, source_name) {
        _ if found_count > 0 => nearest,
        Ok(guessed) => guessed,
        Err(IntakeError::NoRows { .. }) => nearest,
        Err(error) => return Err(error),
    };
    Err(
        match wanted
            .iter()
            .find(|wanted| nearest.find(wanted.column).is_none())
        {
            Some(missing) => column_missing(
                &nearest.columns,
                nearest.row,
                missing.column,
                &missing.wanted_for,
                source_name,
            ),
            None => no_header::explain(head, is_whole, source_name),
        },
    )
}

/// Three words and more, none of them a number: names of another log, with nothing beneath.
fn looks_like_names(columns: &[String]) -> bool {
    let named = columns.iter().filter(|name| !name.is_empty());
    columns.len() > 2 && named.clone().count() > 2 && !named.clone().any(|name| is_reading(name))
}

/// Most lines among which the names are looked for.
pub(super) const LINES_LOOKED_AT_MAX: usize = 120;

/// Most lines below a line of names that are compared with it.
const LINES_BELOW_MAX: usize = 6;

/// Finds the line that looks most like the names of the columns below it.
pub(super) fn guess_header(
    head: &[u8],
    is_whole: bool,
    source_name: &str,
) -> Result<Header, IntakeError> {
    let all: Vec<(u64, usize, &[u8])> = lines(head, is_whole).take(LINES_LOOKED_AT_MAX).collect();
    if let [(row, _, line)] = all.as_slice()
        && is_whole
        && no_header::kind_of(line).is_none()
        && DELIMITERS
            .iter()
            .any(|delimiter| looks_like_names(&split(line, *delimiter)))
    {
        return Err(IntakeError::NoRows {
            source_name: source_name.to_owned(),
            row: *row,
        });
    }
    let mut best: Option<(usize, Header)> = None;
    for delimiter in DELIMITERS {
        let mut cells = all
            .iter()
            .map(|(_, _, line)| split(line, delimiter))
            .collect::<Vec<_>>();
        let counts: Vec<(usize, usize)> = cells
            .iter()
            .map(|cells| {
                (
                    cells.len(),
                    cells.iter().filter(|cell| is_number(cell)).count(),
                )
            })
            .collect();
        let widths: Vec<usize> = all
            .iter()
            .map(|(_, _, line)| line.split(|byte| *byte == delimiter).count())
            .collect();
        for (place, (row, body_byte, _)) in all.iter().enumerate() {
            let (column_count, numbers_here) = counts[place];
            if column_count < 2 || numbers_here > 0 {
                continue;
            }
            let below = counts[place + 1..].iter().zip(&widths[place + 1..]);
            let fitting = below
                .take(LINES_BELOW_MAX)
                .filter(|((count, _), _)| *count <= column_count);
            let (number_count, width) = fitting
                .map(|((_, numbers), width)| (*numbers, *width))
                .max()
                .unwrap_or((0, 0));
            let named = cells[place].iter().filter(|name| !name.is_empty());
            // Names beyond the cells that hold numbers are worth little, and a line that is wider than
            // what is below less: a line of prose has many commas.
            let surplus = column_count.saturating_sub(width);
            let worth = (2 * number_count + named.count().min(3)).saturating_sub(surplus.min(3));
            if number_count > 0 && best.as_ref().is_none_or(|best| worth > best.0) {
                let header = Header {
                    delimiter,
                    row: *row,
                    columns: std::mem::take(&mut cells[place]),
                    body_byte: *body_byte,
                };
                best = Some((worth, header));
            }
        }
    }
    best.map(|(_, header)| header)
        .ok_or_else(|| no_header::explain(head, is_whole, source_name))
}

fn is_number(text: &str) -> bool {
    text.replace(',', ".").parse::<f64>().is_ok()
}

/// Returns whether `text` is a number, a time or a switch's word: no name.
pub(super) fn is_reading(text: &str) -> bool {
    is_number(text)
        || read_clock_time(text).is_some()
        || read_date(text).is_some()
        || read_flag_word(text.as_bytes()).is_some()
}

/// Returns each line that is not blank with its number and the byte at which the next one begins;
/// a last line that may go on beyond the head is left out.
pub(super) fn lines(head: &[u8], is_whole: bool) -> impl Iterator<Item = (u64, usize, &[u8])> {
    let mut row = 0;
    let mut byte = 0;
    std::iter::from_fn(move || {
        let rest = head.get(byte..).filter(|rest| !rest.is_empty())?;
        let end = rest.iter().position(|&byte| byte == b'\n');
        let (line, next) = match end {
            Some(end) => (&rest[..end], byte + end + 1),
            None if is_whole => (rest, head.len()),
            None => return None,
        };
        row += 1;
        byte = next;
        Some((row, next, line))
    })
    .filter(|(_, _, line)| !line.trim_ascii().is_empty())
}

pub(super) fn split(line: &[u8], delimiter: u8) -> Vec<String> {
    let text = decode(line);
    let mut columns: Vec<String> = if text.contains('"') {
        split_quoted(&text, delimiter)
    } else {
        // To make a reader of quoted cells for each line took 86 % of the time of a log of 400 rows.
        let cells = text.split(char::from(delimiter));
        cells.map(|name| name.trim().to_owned()).collect()
    };
    if let Some(first) = columns.first_mut() {
        // Some loggers mark the header as a remark.
        *first = first.trim_start_matches('#').trim_start().to_owned();
    }
    while columns.last().is_some_and(String::is_empty) {
        columns.pop();
    }
    columns
}

fn split_quoted(text: &str, delimiter: u8) -> Vec<String> {
    let mut record = StringRecord::new();
    let mut reader = ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .terminator(Terminator::Any(b'\n'))
        .from_reader(text.as_bytes());
    // Reading from memory cannot fail; should it, the line has no columns.
    if !reader.read_record(&mut record).unwrap_or(false) {
        return Vec::new();
    }
    record.iter().map(|name| name.trim().to_owned()).collect()
}
