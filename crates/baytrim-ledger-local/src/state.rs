//! What the store knows in memory, always a fold of what is durable.

use std::collections::BTreeMap;

use baytrim_ledger::{Head, StreamName};

use crate::place::{Place, Position};
use crate::spools::Spools;

/// Is the durable state that readers see.
pub(crate) struct State {
    pub(crate) heads: BTreeMap<StreamName, Head>,
    /// Frames that the index does not hold yet, by stream and first record.
    pub(crate) pending: BTreeMap<(StreamName, u64), Place>,
    pub(crate) spools: Spools,
    pub(crate) journal_end: Position,
    pub(crate) spool_end: Position,
    pub(crate) spool_first_segment: u32,
}

/// Is what one frame changes, once durable.
#[derive(Debug, Clone)]
pub(crate) enum Effect {
    Records(Entry),
    Chunk {
        spool: StreamName,
        number: u64,
        place: Place,
    },
    Drop {
        spool: StreamName,
    },
}

/// Is one frame of the journal as the index sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Entry {
    pub(crate) stream: StreamName,
    pub(crate) before: Head,
    pub(crate) after: Head,
    pub(crate) place: Place,
    /// End of the journal after this frame.
    pub(crate) end: Position,
}

impl State {
    pub(crate) fn head(&self, stream: &StreamName) -> Head {
        self.heads.get(stream).copied().unwrap_or_default()
    }

    /// Makes a durable change visible.
    pub(crate) fn apply(&mut self, effect: &Effect) {
        match effect {
            Effect::Records(entry) => {
                self.heads.insert(entry.stream.clone(), entry.after);
                self.pending
                    .insert((entry.stream.clone(), entry.before.next_seq), entry.place);
            }
            Effect::Chunk {
                spool,
                number,
                place,
            } => self.spools.put(spool, *number, *place),
            Effect::Drop { spool } => self.spools.drop_spool(spool),
        }
    }

    /// Returns the frame among the pending ones that holds a record, if one does.
    pub(crate) fn pending_place(&self, stream: &StreamName, seq: u64) -> Option<Place> {
        let range = (stream.clone(), 0)..=(stream.clone(), seq);
        self.pending
            .range(range)
            .next_back()
            .map(|(_, place)| *place)
    }
}
