//! Walks a log frame by frame and stops at the first thing that is not sound.

use std::path::{Path, PathBuf};

use baytrim_ledger::{Damage, StoreFault};

use crate::files::{Files, OpenFile};
use crate::frame;
use crate::place::{Place, Position};
use crate::segment::{self, LogKind};

/// Bytes read ahead at a time.
const WINDOW_BYTES: usize = 1 << 20;

/// Says where and why a walk ended.
#[derive(Debug)]
pub(crate) enum Stop {
    /// At the end of the last segment.
    End(Position),
    /// At something that is not sound; `good` is the end of what is.
    Broken { good: Position, damage: Damage },
}

/// Is one sound frame.
pub(crate) struct Frame<'a> {
    pub(crate) place: Place,
    /// End of the log after this frame.
    pub(crate) end: Position,
    pub(crate) payload: &'a [u8],
}

/// Names a log's files.
#[derive(Clone, Copy)]
pub(crate) struct Log<'a> {
    pub(crate) files: &'a dyn Files,
    pub(crate) dir: &'a Path,
    pub(crate) kind: LogKind,
}

impl Log<'_> {
    pub(crate) fn path(&self, number: u32) -> PathBuf {
        segment::path(self.dir, number)
    }

    /// Returns the numbers of the segments that are there, in order.
    ///
    /// # Errors
    /// The fault of listing the directory.
    pub(crate) fn segments(&self) -> Result<Vec<u32>, StoreFault> {
        let fault = |source| StoreFault::from_io(format!("listing {}", self.dir.display()), source);
        let names = self.files.list(self.dir).map_err(fault)?;
        let mut numbers: Vec<u32> = names
            .iter()
            .filter_map(|name| segment::number_of(name))
            .collect();
        numbers.sort_unstable();
        Ok(numbers)
    }

    /// Returns the header of a segment and its length, or what is wrong with it.
    ///
    /// # Errors
    /// The fault of reading it.
    pub(crate) fn header(
        &self,
        number: u32,
    ) -> Result<Result<(segment::Header, u64), Damage>, StoreFault> {
        let path = self.path(number);
        let fault = |source| StoreFault::from_io(format!("reading {}", path.display()), source);
        let file = self.files.open(&path).map_err(fault)?;
        let mut bytes = [0; segment::HEADER_BYTES];
        let count = file.read_at(0, &mut bytes).map_err(fault)?;
        let len = file.len().map_err(fault)?;
        let header = segment::Header::decode(self.kind, &bytes[..count]).and_then(|header| {
            let right = header.number == number;
            right
                .then_some(header)
                .ok_or_else(|| format!("the file holds segment {}", header.number))
        });
        Ok(header
            .map(|header| (header, len))
            .map_err(|what| self.damage(number, 0, what)))
    }

    pub(crate) fn damage(&self, number: u32, offset: u64, what: String) -> Damage {
        let advice = match self.kind {
            LogKind::Journal => "copy the directory, then restore this file from a backup",
            LogKind::Spool => {
                "copy the directory, then restore this file from a backup, or accept the loss of live pulls"
            }
        };
        let file = self.path(number).display().to_string();
        Damage {
            file,
            offset: Some(offset),
            what,
            advice: advice.to_owned(),
            ..Damage::default()
        }
    }
}

/// Walks from `from`, at most to frame `last_seq`, handing each sound frame to `visit`, which may call it damaged.
///
/// # Errors
/// The fault of reading.
pub(crate) fn scan(
    log: Log<'_>,
    from: Position,
    last_seq: u64,
    visit: &mut dyn FnMut(&Frame<'_>) -> Result<(), Damage>,
) -> Result<Stop, StoreFault> {
    let numbers = log.segments()?;
    let mut position = from;
    loop {
        if let Some(damage) = scan_segment(log, &mut position, last_seq, visit)? {
            return Ok(Stop::Broken {
                good: position,
                damage,
            });
        }
        let next = position.segment + 1;
        if position.seq >= last_seq || numbers.last().is_none_or(|&last| last < next) {
            return Ok(Stop::End(position));
        }
        if numbers.binary_search(&next).is_err() {
            let damage = log.damage(
                next,
                0,
                "the segment is missing, though later ones are there".to_owned(),
            );
            return Ok(Stop::Broken {
                good: position,
                damage,
            });
        }
        let expected = segment::Header::after(&position);
        match log.header(next)? {
            Ok((header, _)) if header == expected => position = header.start(),
            Ok(_) => {
                let damage = log.damage(
                    next,
                    0,
                    "the segment does not follow the end of the one before".to_owned(),
                );
                return Ok(Stop::Broken {
                    good: position,
                    damage,
                });
            }
            Err(damage) => {
                return Ok(Stop::Broken {
                    good: position,
                    damage,
                });
            }
        }
    }
}

/// Walks one segment; returns what is wrong in it, if anything is.
fn scan_segment(
    log: Log<'_>,
    position: &mut Position,
    last_seq: u64,
    visit: &mut dyn FnMut(&Frame<'_>) -> Result<(), Damage>,
) -> Result<Option<Damage>, StoreFault> {
    let number = position.segment;
    let path = log.path(number);
    let fault = |source| StoreFault::from_io(format!("reading {}", path.display()), source);
    let file = log.files.open(&path).map_err(fault)?;
    let len = file.len().map_err(fault)?;
    if len < position.offset {
        return Ok(Some(log.damage(
            number,
            len,
            format!("the file ends before byte {}", position.offset),
        )));
    }
    let mut window = Window {
        file: &*file,
        bytes: Vec::new(),
        start: 0,
        len,
    };
    while position.offset < len && position.seq < last_seq {
        match next_frame(&mut window, position).map_err(fault)? {
            Err(what) => return Ok(Some(log.damage(number, position.offset, what))),
            Ok(frame) => {
                let end = frame.end;
                if let Err(damage) = visit(&frame) {
                    return Ok(Some(damage));
                }
                *position = end;
            }
        }
    }
    Ok(None)
}

type Sound<'a> = Result<Frame<'a>, String>;

fn next_frame<'a>(window: &'a mut Window<'_>, position: &Position) -> std::io::Result<Sound<'a>> {
    let left = window.len - position.offset;
    if left < frame::HEADER_BYTES as u64 {
        return Ok(Err(format!(
            "a frame header is cut short after {left} bytes"
        )));
    }
    let mut header_bytes = [0; frame::HEADER_BYTES];
    header_bytes.copy_from_slice(window.get(position.offset, frame::HEADER_BYTES)?);
    let header = match frame::decode_header(&header_bytes) {
        Ok(header) => header,
        Err(what) => return Ok(Err(what)),
    };
    let frame_len = frame::HEADER_BYTES + header.payload_len;
    if left < frame_len as u64 {
        return Ok(Err(format!(
            "a frame of {frame_len} bytes is cut short after {left}"
        )));
    }
    let payload = &window.get(position.offset, frame_len)?[frame::HEADER_BYTES..];
    let checked = frame::check_sum(&header, payload)
        .and_then(|()| frame::check_chain(&header, payload, position.seq, &position.hash));
    Ok(checked.map(|()| {
        let len = u32::try_from(frame_len).unwrap_or(u32::MAX);
        let place = Place {
            segment: position.segment,
            offset: position.offset,
            len,
        };
        let offset = position.offset + frame_len as u64;
        let end = Position {
            segment: position.segment,
            offset,
            seq: header.seq,
            hash: header.hash,
        };
        Frame {
            place,
            end,
            payload,
        }
    }))
}

/// Holds a part of a file, read ahead.
struct Window<'a> {
    file: &'a dyn OpenFile,
    bytes: Vec<u8>,
    start: u64,
    len: u64,
}

impl Window<'_> {
    /// Returns `count` bytes from `offset` on; the caller knows that the file goes as far.
    fn get(&mut self, offset: u64, count: usize) -> std::io::Result<&[u8]> {
        let inside =
            offset >= self.start && offset + count as u64 <= self.start + self.bytes.len() as u64;
        if !inside {
            let left = usize::try_from(self.len - offset).unwrap_or(usize::MAX);
            self.bytes.resize(left.min(count.max(WINDOW_BYTES)), 0);
            let read = self.file.read_at(offset, &mut self.bytes)?;
            self.bytes.truncate(read);
            self.start = offset;
        }
        let from = usize::try_from(offset - self.start).unwrap_or(usize::MAX);
        self.bytes
            .get(from..from + count)
            .ok_or_else(|| std::io::ErrorKind::UnexpectedEof.into())
    }
}
