//! Checkpoints.

use baytrim_api::v1::Checkpoint;
use baytrim_ledger::Hash;

use crate::checkpoints::Sealed;

/// Returns a checkpoint with its file and the key that it is checked with.
pub fn whole(sealed: &Sealed) -> Checkpoint {
    let checkpoint = &sealed.checkpoint;
    Checkpoint {
        number: checkpoint.number,
        time: checkpoint.time.clone(),
        stream_count: checkpoint.stream_count,
        record_count: checkpoint.record_count,
        root: Hash(checkpoint.root).to_string(),
        content: sealed.file.clone().into_bytes(),
        key: sealed.key.to_string(),
    }
}
