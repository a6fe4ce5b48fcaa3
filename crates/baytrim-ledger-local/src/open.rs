//! Opens a directory: lock, format, anchor, logs, index, in this order.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path;
use std::sync::Arc;

use baytrim_ledger::StoreFault;

use crate::anchor::{self, Anchor, AnchorWriter, Slots};
use crate::blobs;
use crate::files::Files;
use crate::format;
use crate::index::Index;
use crate::indexer::Indexing;
use crate::lock;
use crate::open_journal;
use crate::open_spool;
use crate::options::{OpenError, OpenReport, Options};
use crate::recover::Recovered;
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
    let journal = open_journal::open(
        files,
        dir,
        options,
        anchored.map(|a| a.journal),
        &mut losses,
    )?;
    let (spools, spool, spool_first) =
        open_spool::open(files, dir, options, anchored, &mut losses)?;

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
