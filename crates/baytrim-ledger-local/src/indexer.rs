//! Keeps the index up with the journal, off the path of durability.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::Receiver;

use baytrim_ledger::Hash;

use crate::format;
use crate::index::{Covered, Doubt, Index, toggle_head};
use crate::shared::Shared;
use crate::state::Entry;

/// Entries taken into the index at once.
pub(crate) const BATCH_ENTRIES: usize = 1024;

/// Brings entries into the index in journal order.
pub(crate) struct Indexing {
    heads_digest: Hash,
}

impl Indexing {
    /// Goes on from an index whose heads have this digest.
    pub(crate) fn new(heads_digest: Hash) -> Self {
        Self { heads_digest }
    }

    /// Takes in the next entries.
    ///
    /// # Errors
    /// What is doubtful about the index now.
    pub(crate) fn apply(&mut self, index: &Index, entries: &[Entry]) -> Result<(), Doubt> {
        let Some(last) = entries.last() else {
            return Ok(());
        };
        let mut digest = self.heads_digest;
        for entry in entries {
            toggle_head(&mut digest, &entry.stream, &entry.before);
            toggle_head(&mut digest, &entry.stream, &entry.after);
        }
        index.apply(
            entries,
            &Covered {
                end: last.end,
                last: last.place,
                heads_digest: digest,
            },
        )?;
        self.heads_digest = digest;
        Ok(())
    }
}

/// Runs until the writer is gone; what the index does not take stays in memory and is caught up when opened.
pub(crate) fn run(shared: &Arc<Shared>, mut indexing: Indexing, queue: &Receiver<Vec<Entry>>) {
    while let Ok(mut entries) = queue.recv() {
        while entries.len() < BATCH_ENTRIES
            && let Ok(more) = queue.try_recv()
        {
            entries.extend(more);
        }
        if shared.is_index_doubted.load(Ordering::Acquire) {
            continue;
        }
        if let Err(doubt) = indexing.apply(&shared.index, &entries) {
            crate::rescue::doubt_index(shared, &doubt);
            continue;
        }
        let mut state = shared.write_state();
        // A rescue may have begun since; it relies on everything being pending.
        if !shared.is_index_doubted.load(Ordering::Acquire) {
            for entry in entries {
                state.pending.remove(&(entry.stream, entry.before.next_seq));
            }
        }
    }
    shared.index.flush();
}

/// Leaves a note that the index is to be made anew when opened next.
pub(crate) fn leave_note(dir: &Path) {
    if let Err(error) = std::fs::write(dir.join(format::INDEX_DOUBT_FILE), b"") {
        tracing::warn!(%error, "cannot leave a note about the index");
    }
}
