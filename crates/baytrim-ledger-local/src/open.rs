//! Opens a directory: lock, format, anchor, logs, index, in this order.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use baytrim_ledger::{Hash, Head, StoreFault, StreamName};

use crate::anchor::{self, Anchor, AnchorWriter, Slots};
use crate::blobs;
use crate::files::Files;
use crate::format;
use crate::index::Index;
use crate::indexer::Indexing;
use crate::lock;
use crate::lost;
use crate::open_index::{self, Opened};
use crate::options::{IndexReport, OpenCheck, OpenError, OpenReport, Options};
use crate::place::Position;
use crate::recover::{Loss, Recovered, Recovery};
use crate::replay::{self, JournalReplay};
use crate::segment::{self, Header, LogKind};
use crate::spools::Spools;
use crate::state::State;

/// Is everything that a running store is made of.
pub(crate) struct Parts {
    pub(crate) lock: File,
    pub(crate) state: State,
    pub(crate) index: Index,
    pub(crate) indexing: Indexing,
    pub(crate) anchor: Anchor,
    pub(crate) anchor_writer: AnchorWriter,
    pub(crate) report: OpenReport,
}

struct Journal {
    recovered: Recovered,
    index: Index,
    indexing: Indexing,
    heads: BTreeMap<StreamName, Head>,
    report: IndexReport,
}

/// Opens `dir`, setting it up when it is empty.
///
/// # Errors
/// [`OpenError`] says why not.
pub(crate) fn open(
    files: &Arc<dyn Files>,
    dir: &Path,
    options: &Options,
) -> Result<Parts, OpenError> {
    let create = files.create_dir(dir);
    create.map_err(|source| StoreFault::from_io(format!("creating {}", dir.display()), source))?;
    let lock = lock::take(dir)?;
    let is_new = format::check_or_create(&**files, dir)?;
    let temporary_file_count = blobs::clean(&**files, dir)?;
    let mut losses = Vec::new();
    let slots = read_anchor(&**files, dir, options, &mut losses)?;
    let anchored = slots.newest;
    let journal = open_journal(
        files,
        dir,
        options,
        anchored.map(|a| a.journal),
        &mut losses,
    )?;
    let (spools, spool, spool_first) = open_spool(files, dir, options, anchored, &mut losses)?;

    let (anchor, anchor_writer) = write_anchor(
        &**files,
        dir,
        &slots,
        (&journal.recovered, &spool, spool_first),
    )?;
    let report = OpenReport {
        is_new,
        stream_count: journal.heads.len() as u64,
        record_count: journal.heads.values().map(|head| head.next_seq).sum(),
        spool_count: spools.list().len() as u64,
        torn_journal: journal.recovered.torn.clone(),
        torn_spool: spool.torn.clone(),
        unacknowledged_frame_count: journal.recovered.unacknowledged_frame_count
            + spool.unacknowledged_frame_count,
        is_anchor_slot_lost: slots.sound_count < 2,
        index: journal.report,
        temporary_file_count,
        losses,
    };
    let state = State {
        heads: journal.heads,
        pending: BTreeMap::new(),
        spools,
        journal_end: anchor.journal,
        spool_end: anchor.spool,
        spool_first_segment: spool_first,
    };
    Ok(Parts {
        lock,
        state,
        index: journal.index,
        indexing: journal.indexing,
        anchor,
        anchor_writer,
        report,
    })
}

fn read_anchor(
    files: &dyn Files,
    dir: &Path,
    options: &Options,
    losses: &mut Vec<String>,
) -> Result<Slots, OpenError> {
    let lost = |what: String| OpenError::AnchorLost {
        file: dir.join(anchor::FILE),
        what,
    };
    let slots = match anchor::read(files, dir) {
        Ok(slots) if slots.newest.is_some() => return Ok(slots),
        Ok(slots) => (
            slots,
            lost("neither of its two slots is readable".to_owned()),
        ),
        Err(StoreFault::Io { source, .. }) if source.kind() == std::io::ErrorKind::NotFound => (
            Slots {
                newest: None,
                sound_count: 0,
            },
            lost("the file is missing".to_owned()),
        ),
        Err(fault) => return Err(fault.into()),
    };
    if !options.accept_loss {
        return Err(slots.1);
    }
    losses.push(
        "the anchor was lost: nobody can say whether the last appends are all there".to_owned(),
    );
    Ok(slots.0)
}

/// Writes the anchor for the recovered ends: one slot, or both when one was lost.
fn write_anchor(
    files: &dyn Files,
    dir: &Path,
    slots: &Slots,
    ends: (&Recovered, &Recovered, u32),
) -> Result<(Anchor, AnchorWriter), StoreFault> {
    let (journal, spool, spool_first_segment) = ends;
    let counter = slots.newest.map_or(0, |newest| newest.counter + 1);
    let mut anchor = Anchor {
        counter,
        spool_first_segment,
        journal: journal.end,
        spool: spool.end,
    };
    if slots.newest.is_none() {
        let writer = AnchorWriter::create(files, dir, anchor)?;
        files
            .sync_dir(dir)
            .map_err(|source| StoreFault::from_io(format!("syncing {}", dir.display()), source))?;
        anchor.counter += 1;
        return Ok((anchor, writer));
    }
    let writer = AnchorWriter::open(files, dir)?;
    let is_same = slots.newest.is_some_and(|newest| {
        Anchor {
            counter: newest.counter,
            ..anchor
        } == newest
    });
    if is_same && slots.sound_count == 2 {
        anchor.counter -= 1;
        return Ok((anchor, writer));
    }
    writer.write(&anchor)?;
    if slots.sound_count < 2 {
        anchor.counter += 1;
        writer.write(&anchor)?;
    }
    Ok((anchor, writer))
}

fn recovery(files: &Arc<dyn Files>, dir: &Path, kind: LogKind, options: &Options) -> Recovery {
    let segment_bytes = match kind {
        LogKind::Journal => options.segment_bytes,
        LogKind::Spool => options.spool_segment_bytes,
    };
    let start = Header::first().start();
    let (files, dir) = (Arc::clone(files), dir.join(kind.name()));
    Recovery {
        files,
        dir,
        kind,
        segment_bytes,
        from: start,
        anchor: start,
    }
}

fn open_journal(
    files: &Arc<dyn Files>,
    dir: &Path,
    options: &Options,
    anchored: Option<Position>,
    losses: &mut Vec<String>,
) -> Result<Journal, OpenError> {
    let mut recovery = recovery(files, dir, LogKind::Journal, options);
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
        rebuilt,
    } = opened;
    recovery.from = covered.unwrap_or_else(|| Header::first().start());
    let was_behind = recovery.from.seq;
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
        None if recovered.end.seq == was_behind => IndexReport::Sound,
        None => IndexReport::CaughtUp { frame_count },
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

type OpenSpool = (Spools, Recovered, u32);

fn open_spool(
    files: &Arc<dyn Files>,
    dir: &Path,
    options: &Options,
    anchored: Option<Anchor>,
    losses: &mut Vec<String>,
) -> Result<OpenSpool, OpenError> {
    let mut recovery = recovery(files, dir, LogKind::Spool, options);
    let Some(anchor) = anchored else {
        return begin_spool_anew(&recovery, dir, losses);
    };
    match replay_spool(&mut recovery, &anchor) {
        Err(Loss::Fault(fault)) => Err(fault.into()),
        Err(_) if options.accept_loss => begin_spool_anew(&recovery, dir, losses),
        other => other.map_err(|loss| loss.into_error(&recovery)),
    }
}

fn replay_spool(recovery: &mut Recovery, anchor: &Anchor) -> Result<OpenSpool, Loss> {
    let first = anchor.spool_first_segment;
    recovery.anchor = anchor.spool;
    remove_dropped_segments(recovery, first)?;
    let good = Header::first().start();
    if recovery.log().segments()?.first() != Some(&first) {
        let damage = recovery
            .log()
            .damage(first, 0, "the segment is missing".to_owned());
        return Err(Loss::Damage {
            good,
            damage: damage.into(),
        });
    }
    let header = recovery.log().header(first)?;
    recovery.from = header
        .map_err(|damage| Loss::Damage {
            good,
            damage: damage.into(),
        })?
        .0
        .start();
    let mut spools = Spools::default();
    let recovered =
        recovery.run(&mut |frame| replay::take_spool(&mut spools, recovery.log(), frame))?;
    if let Some((spool, number)) = spools.gap() {
        let damage =
            recovery
                .log()
                .damage(first, 0, "a chunk is missing before later ones".to_owned());
        let damage = baytrim_ledger::Damage {
            stream: Some(spool),
            seq: Some(number),
            ..damage
        };
        return Err(Loss::Damage {
            good,
            damage: damage.into(),
        });
    }
    Ok((spools, recovered, first))
}

/// Removes segments whose chunks were all dropped before the last closing.
fn remove_dropped_segments(recovery: &Recovery, first: u32) -> Result<(), StoreFault> {
    for number in recovery
        .log()
        .segments()?
        .into_iter()
        .filter(|&number| number < first)
    {
        let path = recovery.log().path(number);
        let removed = recovery.files.remove(&path);
        removed.map_err(|source| {
            StoreFault::from_io(format!("removing {}", path.display()), source)
        })?;
    }
    Ok(())
}

/// Gives all live pulls up: moves every spool segment aside and begins a new one behind them.
fn begin_spool_anew(
    recovery: &Recovery,
    dir: &Path,
    losses: &mut Vec<String>,
) -> Result<OpenSpool, OpenError> {
    let everything = Position {
        segment: 0,
        ..Header::first().start()
    };
    let last = recovery.log().segments()?.last().copied().unwrap_or(0);
    let target: PathBuf = lost::set_aside(recovery.log(), dir, &everything)?;
    losses.push(format!(
        "the chunks of all pulls that were not finished; see {}",
        target.display()
    ));
    let before = Position {
        segment: last,
        offset: 0,
        seq: 0,
        hash: Hash::ZERO,
    };
    let end = crate::journal::LogWriter::create_at(
        &*recovery.files,
        &recovery.dir,
        LogKind::Spool,
        &before,
    )?;
    let recovered = Recovered {
        end,
        torn: None,
        unacknowledged_frame_count: 0,
    };
    Ok((Spools::default(), recovered, end.segment))
}
