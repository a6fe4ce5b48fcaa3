//! Goes on without the index, when it gave a wrong answer, by reading the whole journal once.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use baytrim_ledger::{Damage, StoreFault};

use crate::batch;
use crate::indexer::leave_note;
use crate::scan::{self, Frame, Stop};
use crate::segment::{Header, LogKind};
use crate::shared::Shared;

/// Reads the journal so that every record can be found without the index; notes a failure, never gives up.
pub(crate) fn doubt_index(shared: &Arc<Shared>, doubt: &str) {
    if let Err(fault) = leave_index(shared, doubt) {
        tracing::error!(%fault, "the journal could not be read to its end in place of the index");
    }
}

/// Stops using the index; afterwards every sound record is found in `State::pending`.
///
/// # Errors
/// The journal's own fault or damage; what comes before it is found all the same.
pub(crate) fn leave_index(shared: &Shared, doubt: &str) -> Result<(), StoreFault> {
    tracing::warn!(
        doubt,
        "the index is not to be trusted; reading the journal instead, a restart makes it anew"
    );
    leave_note(&shared.dir);
    // From here on nothing leaves `pending`, and new appends enter it, so that the walk below completes it.
    let end = {
        let state = shared.write_state();
        shared.is_index_doubted.store(true, Ordering::Release);
        state.journal_end
    };
    let mut found = Vec::new();
    let log = shared.log(LogKind::Journal);
    let stop = scan::scan(
        log,
        Header::first().start(),
        end.seq,
        &mut |frame: &Frame<'_>| {
            let outline = batch::outline(frame.payload);
            let outline = outline
                .map_err(|what| log.damage(frame.place.segment, frame.place.offset, what))?;
            found.push(((outline.stream, outline.before.next_seq), frame.place));
            Ok::<(), Damage>(())
        },
    )?;
    shared.write_state().pending.extend(found);
    match stop {
        Stop::End(_) => Ok(()),
        Stop::Broken { damage, .. } => Err(damage.into()),
    }
}
