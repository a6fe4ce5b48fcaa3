//! Folds frames into what the store knows in memory and into the index.

use std::collections::BTreeMap;

use baytrim_ledger::{Damage, Head, StreamName};

use crate::batch;
use crate::chunk::{self, SpoolFrame};
use crate::index::{Doubt, Index};
use crate::indexer::{BATCH_ENTRIES, Indexing};
use crate::scan::{Frame, Log};
use crate::spools::Spools;
use crate::state::Entry;

/// Folds journal frames.
pub(crate) struct JournalReplay<'a> {
    pub(crate) heads: BTreeMap<StreamName, Head>,
    index: &'a Index,
    indexing: Indexing,
    entries: Vec<Entry>,
    pub(crate) frame_count: u64,
    doubt: Option<Doubt>,
}

impl<'a> JournalReplay<'a> {
    /// Goes on from the heads that the index holds.
    pub(crate) fn new(
        index: &'a Index,
        indexing: Indexing,
        heads: BTreeMap<StreamName, Head>,
    ) -> Self {
        Self {
            heads,
            index,
            indexing,
            entries: Vec::new(),
            frame_count: 0,
            doubt: None,
        }
    }

    /// Takes in one frame.
    ///
    /// # Errors
    /// The damage, when the frame does not follow what is known.
    pub(crate) fn take(&mut self, log: Log<'_>, frame: &Frame<'_>) -> Result<(), Damage> {
        let damage = |what| log.damage(frame.place.segment, frame.place.offset, what);
        let outline = batch::outline(frame.payload).map_err(damage)?;
        let head = self.heads.get(&outline.stream).copied().unwrap_or_default();
        if head != outline.before {
            let what = format!(
                "records from {} on do not follow the stream's record count {}",
                outline.before.next_seq, head.next_seq
            );
            let damage = damage(what);
            return Err(Damage {
                stream: Some(outline.stream),
                seq: Some(outline.before.next_seq),
                ..damage
            });
        }
        self.heads.insert(outline.stream.clone(), outline.after);
        self.frame_count += 1;
        let (before, after) = (outline.before, outline.after);
        self.entries.push(Entry {
            stream: outline.stream,
            before,
            after,
            place: frame.place,
            end: frame.end,
        });
        if self.entries.len() >= BATCH_ENTRIES {
            self.index_entries();
        }
        Ok(())
    }

    fn index_entries(&mut self) {
        if self.doubt.is_none() {
            self.doubt = self.indexing.apply(self.index, &self.entries).err();
        }
        self.entries.clear();
    }

    /// Brings the rest into the index.
    ///
    /// # Errors
    /// What is doubtful about the index.
    pub(crate) fn finish(mut self) -> Result<(BTreeMap<StreamName, Head>, Indexing, u64), Doubt> {
        self.index_entries();
        match self.doubt {
            None => Ok((self.heads, self.indexing, self.frame_count)),
            Some(doubt) => Err(doubt),
        }
    }
}

/// Folds one spool frame.
///
/// # Errors
/// The damage, when the payload makes no sense.
pub(crate) fn take_spool(
    spools: &mut Spools,
    log: Log<'_>,
    frame: &Frame<'_>,
) -> Result<(), Damage> {
    match chunk::decode(frame.payload) {
        Ok(SpoolFrame::Chunk { spool, number, .. }) => spools.put(&spool, number, frame.place),
        Ok(SpoolFrame::Drop { spool }) => spools.drop_spool(&spool),
        Err(what) => return Err(log.damage(frame.place.segment, frame.place.offset, what)),
    }
    Ok(())
}
