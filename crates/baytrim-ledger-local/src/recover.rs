//! Brings a log to a sound end: checks it up to the anchor, keeps whole frames after it, cuts what is torn.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use baytrim_ledger::{Damage, StoreFault};

use crate::files::Files;
use crate::journal::LogWriter;
use crate::options::{OpenError, Options, TornTail};
use crate::place::Position;
use crate::scan::{self, Frame, Log, Stop};
use crate::segment::{self, Header, LogKind};

/// Is a log to be recovered.
pub(crate) struct Recovery {
    pub(crate) files: Arc<dyn Files>,
    pub(crate) dir: PathBuf,
    pub(crate) kind: LogKind,
    pub(crate) segment_bytes: u64,
    /// Where reading begins; everything before it is known to be sound.
    pub(crate) from: Position,
    /// The acknowledged end.
    pub(crate) anchor: Position,
}

/// Is what came of it.
#[derive(Debug)]
pub(crate) struct Recovered {
    pub(crate) end: Position,
    pub(crate) torn: Option<TornTail>,
    pub(crate) unacknowledged_frame_count: u64,
}

/// Says why a log cannot be brought to a sound end without losing what was acknowledged.
#[derive(Debug)]
pub(crate) enum Loss {
    /// It ends too early.
    Tail {
        good: Position,
        missing_frame_count: u64,
    },
    /// Something before the anchor is damaged.
    Damage { good: Position, damage: Box<Damage> },
    /// The system refused something.
    Fault(StoreFault),
}

impl From<StoreFault> for Loss {
    fn from(fault: StoreFault) -> Self {
        Self::Fault(fault)
    }
}

impl Loss {
    /// Turns the loss into the refusal to open.
    pub(crate) fn into_error(self, recovery: &Recovery) -> OpenError {
        match self {
            Self::Tail {
                good,
                missing_frame_count,
            } => {
                let file = segment::path(&recovery.dir, good.segment);
                OpenError::LostTail {
                    file,
                    offset: good.offset,
                    missing_frame_count,
                }
            }
            Self::Damage { damage, .. } => OpenError::Damaged(damage),
            Self::Fault(fault) => OpenError::Fault(fault),
        }
    }
}

impl Recovery {
    /// Returns the recovery of a log in the ledger directory `dir` from its very beginning, nothing acknowledged.
    pub(crate) fn new(
        files: &Arc<dyn Files>,
        dir: &Path,
        kind: LogKind,
        options: &Options,
    ) -> Self {
        let segment_bytes = match kind {
            LogKind::Journal => options.segment_bytes,
            LogKind::Spool => options.spool_segment_bytes,
        };
        let start = Header::first().start();
        let (files, dir) = (Arc::clone(files), dir.join(kind.name()));
        Self {
            files,
            dir,
            kind,
            segment_bytes,
            from: start,
            anchor: start,
        }
    }

    pub(crate) fn log(&self) -> Log<'_> {
        Log {
            files: &*self.files,
            dir: &self.dir,
            kind: self.kind,
        }
    }

    /// Recovers the log, handing every sound frame to `visit`.
    ///
    /// # Errors
    /// The loss that stands in the way.
    pub(crate) fn run(
        &self,
        visit: &mut dyn FnMut(&Frame<'_>) -> Result<(), Damage>,
    ) -> Result<Recovered, Loss> {
        self.check_anchored(visit)?;
        let mut payloads = Vec::new();
        let stop = scan::scan(self.log(), self.anchor, u64::MAX, &mut |frame| {
            payloads.push(frame.payload.to_vec());
            Ok(())
        })?;
        let torn = match stop {
            Stop::End(_) => None,
            Stop::Broken { good, .. } => self.torn_tail(&good)?,
        };
        self.cut(&self.anchor)?;
        let end = self.write_again(&payloads, visit)?;
        Ok(Recovered {
            end,
            torn,
            unacknowledged_frame_count: payloads.len() as u64,
        })
    }

    /// Walks up to the anchor and checks that it is met.
    fn check_anchored(
        &self,
        visit: &mut dyn FnMut(&Frame<'_>) -> Result<(), Damage>,
    ) -> Result<(), Loss> {
        let missing = |good: Position| {
            let missing_frame_count = self.anchor.seq - good.seq;
            Loss::Tail {
                good,
                missing_frame_count,
            }
        };
        match scan::scan(self.log(), self.from, self.anchor.seq, visit)? {
            Stop::End(end) if end.seq < self.anchor.seq => Err(missing(end)),
            Stop::End(end) if end.seq == self.anchor.seq && end.hash == self.anchor.hash => {
                self.check_place(end)
            }
            Stop::End(end) => {
                let what = format!("frame {} is not the one that the anchor names", end.seq);
                let damage = self.log().damage(end.segment, end.offset, what);
                Err(Loss::Damage {
                    good: end,
                    damage: damage.into(),
                })
            }
            Stop::Broken { good, damage } => Err(Loss::Damage {
                good,
                damage: damage.into(),
            }),
        }
    }

    /// Checks that the anchor's place is that of its frame.
    ///
    /// After an accepted loss it may stand behind the header of a segment that holds no frame yet.
    fn check_place(&self, end: Position) -> Result<(), Loss> {
        let anchor = &self.anchor;
        if end == *anchor {
            return Ok(());
        }
        let next = Header::after(&end);
        if next.start() == *anchor
            && self
                .log()
                .header(anchor.segment)?
                .is_ok_and(|(found, _)| found == next)
        {
            return Ok(());
        }
        let what = "the anchor names another place for the last frame".to_owned();
        Err(Loss::Damage {
            good: end,
            damage: self.log().damage(end.segment, end.offset, what).into(),
        })
    }

    /// Measures what lies behind the last sound frame.
    fn torn_tail(&self, good: &Position) -> Result<Option<TornTail>, StoreFault> {
        let mut bytes = 0;
        for number in self
            .log()
            .segments()?
            .into_iter()
            .filter(|&number| number >= good.segment)
        {
            let len = self.len(number)?;
            bytes += if number == good.segment {
                len.saturating_sub(good.offset)
            } else {
                len
            };
        }
        let file = self.log().path(good.segment);
        Ok((bytes > 0).then_some(TornTail {
            file,
            offset: good.offset,
            bytes,
        }))
    }

    fn len(&self, number: u32) -> Result<u64, StoreFault> {
        let path = self.log().path(number);
        let len = self.files.open(&path).and_then(|file| file.len());
        len.map_err(|source| StoreFault::from_io(format!("reading {}", path.display()), source))
    }

    /// Cuts the log at `end`, which is at or after the anchor, unless it ends there.
    pub(crate) fn cut(&self, end: &Position) -> Result<(), StoreFault> {
        let later = self
            .log()
            .segments()?
            .into_iter()
            .filter(|&number| number > end.segment);
        for number in later.collect::<Vec<_>>().into_iter().rev() {
            let path = self.log().path(number);
            let removed = self
                .files
                .remove(&path)
                .and_then(|()| self.files.sync_dir(&self.dir));
            removed.map_err(|source| {
                StoreFault::from_io(format!("removing {}", path.display()), source)
            })?;
        }
        if self.len(end.segment)? == end.offset {
            return Ok(());
        }
        let path = self.log().path(end.segment);
        let cut = || {
            let file = self.files.open(&path)?;
            file.set_len(end.offset)?;
            file.sync_data()
        };
        cut().map_err(|source| StoreFault::from_io(format!("cutting {}", path.display()), source))
    }

    /// Writes the frames after the anchor once more.
    ///
    /// After a failed sync the system may hold them in memory only and call them clean, so that
    /// syncing again would do nothing; new writes are dirty again.
    fn write_again(
        &self,
        payloads: &[Vec<u8>],
        visit: &mut dyn FnMut(&Frame<'_>) -> Result<(), Damage>,
    ) -> Result<Position, Loss> {
        if payloads.is_empty() {
            return Ok(self.anchor);
        }
        let (files, dir) = (Arc::clone(&self.files), self.dir.clone());
        let mut writer = LogWriter::open(files, dir, self.kind, self.segment_bytes, self.anchor)?;
        let mut good = self.anchor;
        for payload in payloads {
            let place = writer.push(payload)?;
            let frame = Frame {
                place,
                end: writer.end(),
                payload,
            };
            visit(&frame).map_err(|damage| Loss::Damage {
                good,
                damage: damage.into(),
            })?;
            good = writer.end();
        }
        writer.sync()?;
        Ok(writer.end())
    }
}
