//! Opens the journal and the index that goes with it.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use baytrim_ledger::{Head, StoreFault, StreamName};

use crate::files::Files;
use crate::index::Index;
use crate::indexer::Indexing;
use crate::lost;
use crate::open_index::{self, Opened};
use crate::options::{IndexReport, OpenCheck, OpenError, Options};
use crate::place::Position;
use crate::recover::{Loss, Recovered, Recovery};
use crate::replay::JournalReplay;
use crate::segment::{self, Header, LogKind};

/// Is the journal brought to a sound end, with its index.
pub(crate) struct Journal {
    pub(crate) recovered: Recovered,
    pub(crate) index: Index,
    pub(crate) indexing: Indexing,
    pub(crate) heads: BTreeMap<StreamName, Head>,
    pub(crate) report: IndexReport,
}

/// Opens the journal, whose acknowledged end is `anchored`.
///
/// # Errors
/// [`OpenError`] says why not.
pub(crate) fn open(
    files: &Arc<dyn Files>,
    dir: &Path,
    options: &Options,
    anchored: Option<Position>,
    losses: &mut Vec<String>,
) -> Result<Journal, OpenError> {
    let mut recovery = Recovery::new(files, dir, LogKind::Journal, options);
    recovery.anchor = match anchored {
        Some(anchor) => anchor,
        None => scan_for_end(&recovery)?,
    };
    let damage = check_segments(&recovery)?;
    let is_damaged = damage.is_some();
    if let Some(damage) = damage {
        if !options.accept_loss {
            return Err(OpenError::Damaged(damage.into()));
        }
        rewrite_first_header(&recovery)?;
    }
    let mut opened = open_index::open(&recovery, dir, options.index_cache_bytes)?;
    if is_damaged || options.check == OpenCheck::Whole {
        opened.read_all();
    }
    match replay_journal(&mut recovery, opened) {
        Err(Loss::Tail {
            good,
            missing_frame_count,
        }) if options.accept_loss => {
            let target = lost::set_aside(recovery.log(), dir, &good)?;
            losses.push(format!(
                "{missing_frame_count} appends at the journal's end; see {}",
                target.display()
            ));
            give_up_behind(&mut recovery, dir, options, good)
        }
        Err(Loss::Damage { good, damage }) if options.accept_loss => {
            let target = lost::set_aside(recovery.log(), dir, &good)?;
            let count = recovery.anchor.seq.saturating_sub(good.seq);
            losses.push(format!(
                "{count} appends from the damage on ({damage}); see {}",
                target.display()
            ));
            give_up_behind(&mut recovery, dir, options, good)
        }
        Err(loss) => Err(loss.into_error(&recovery)),
        Ok(journal) => Ok(journal),
    }
}

/// Opens once more with the journal ending at `good`.
fn give_up_behind(
    recovery: &mut Recovery,
    dir: &Path,
    options: &Options,
    good: Position,
) -> Result<Journal, OpenError> {
    recovery.cut(&good)?;
    recovery.anchor = good;
    let reason = "acknowledged appends were given up".to_owned();
    let opened = open_index::rebuild(dir, options.index_cache_bytes, reason)?;
    replay_journal(recovery, opened).map_err(|loss| loss.into_error(recovery))
}

fn replay_journal(recovery: &mut Recovery, opened: Opened) -> Result<Journal, Loss> {
    let Opened {
        index,
        heads,
        covered,
        heads_digest,
        covered_seq,
        rebuilt,
    } = opened;
    recovery.from = covered.unwrap_or_else(|| Header::first().start());
    let mut replay = JournalReplay::new(&index, Indexing::new(heads_digest), heads);
    let recovered = recovery.run(&mut |frame| replay.take(recovery.log(), frame))?;
    let (heads, indexing, frame_count) = replay.finish().map_err(|doubt| {
        let what = format!("making the index anew ({doubt})");
        Loss::Fault(StoreFault::from_io(what, std::io::ErrorKind::Other.into()))
    })?;
    let report = match rebuilt {
        Some(reason) => IndexReport::Rebuilt {
            reason,
            frame_count,
        },
        None if recovered.end.seq == covered_seq => IndexReport::Sound,
        None => IndexReport::CaughtUp {
            frame_count: recovered.end.seq - covered_seq,
        },
    };
    Ok(Journal {
        recovered,
        index,
        indexing,
        heads,
        report,
    })
}

/// Looks at header and length of every segment before the anchor's; returns what is wrong.
fn check_segments(recovery: &Recovery) -> Result<Option<baytrim_ledger::Damage>, StoreFault> {
    let log = recovery.log();
    let numbers = log.segments()?;
    let mut prev_len = 0;
    for number in 1..=recovery.anchor.segment {
        if numbers.binary_search(&number).is_err() {
            return Ok(Some(log.damage(
                number,
                0,
                "the segment is missing".to_owned(),
            )));
        }
        let (header, len) = match log.header(number)? {
            Ok(found) => found,
            Err(damage) => return Ok(Some(damage)),
        };
        if header.prev_len != prev_len {
            let what = format!(
                "the file has {prev_len} bytes, the next segment says {}",
                header.prev_len
            );
            return Ok(Some(log.damage(
                number - 1,
                prev_len.min(header.prev_len),
                what,
            )));
        }
        prev_len = len;
    }
    Ok(None)
}

/// The first segment's header is the same in every ledger, so that nothing is lost with it.
fn rewrite_first_header(recovery: &Recovery) -> Result<(), StoreFault> {
    let path = segment::path(&recovery.dir, 1);
    let header = Header::first().encode(LogKind::Journal);
    let write = || {
        let file = match recovery.files.open(&path) {
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                recovery.files.create(&path)?
            }
            other => other?,
        };
        file.write_at(0, &header)?;
        file.sync_data()?;
        recovery.files.sync_dir(&recovery.dir)
    };
    write().map_err(|source| StoreFault::from_io(format!("writing {}", path.display()), source))
}

/// Finds the end of a log whose anchor is lost: the last sound frame.
fn scan_for_end(recovery: &Recovery) -> Result<Position, StoreFault> {
    let stop = crate::scan::scan(recovery.log(), recovery.from, u64::MAX, &mut |_| Ok(()))?;
    match stop {
        crate::scan::Stop::End(end) => Ok(end),
        crate::scan::Stop::Broken { good, .. } => Ok(good),
    }
}
