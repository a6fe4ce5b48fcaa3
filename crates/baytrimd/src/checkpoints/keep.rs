//! Making a checkpoint and recording it.

use baytrim_checkpoint::{Checkpoint, Signer};
use baytrim_ledger::{AppendError, Store};
use baytrim_model::ids::UnixMillis;

use super::history::{Body, History, VERSION, stream};
use super::{CHECKPOINT_STREAM, Heads, Sealed, fold, leaves, moment};
use crate::fault::{Fault, InternalFault};
use crate::ledger_check;
use crate::limits::{CHECKPOINT_HEADS_PER_RECORD, DECIDE_TRIES_MAX};

/// Makes a checkpoint over the heads as they are now, and records it; where nothing was recorded since the last one
/// by the same key, returns that. Says whether it is new.
///
/// # Errors
/// The store's fault, or [`Fault::Contended`].
pub fn make(store: &dyn Store, signer: &Signer, now: UnixMillis) -> Result<(Sealed, bool), Fault> {
    for _ in 0..DECIDE_TRIES_MAX {
        let before = fold(store, &mut |_, _| Ok(()))?;
        let mut heads = Heads::new();
        ledger_check::each_stream(store, "", |stream, head| {
            heads.insert(stream.to_string(), (head.next_seq, head.hash));
        })?;
        if let Some(last) = unchanged(&before, &heads, signer) {
            return Ok((last, false));
        }
        let checkpoint = Checkpoint::of(before.count + 1, moment(now), &leaves(&heads));
        let sealed = Sealed {
            file: checkpoint.seal(signer),
            checkpoint,
            key: signer.verifier().clone(),
        };
        let bodies = bodies(&before, &heads, &sealed)?;
        match store.append(&stream(), &before.head, &bodies) {
            Ok(_) => return Ok((sealed, true)),
            Err(AppendError::Conflict { .. }) => {}
            Err(other) => return Err(other.into()),
        }
    }
    Err(Fault::contended(&stream()))
}

/// Returns the last checkpoint where it still says all there is to say.
fn unchanged(before: &History, heads: &Heads, signer: &Signer) -> Option<Sealed> {
    let last = before.last.as_ref()?;
    // The checkpoint's own record came after it.
    let of_others = |heads: &Heads| {
        let others = heads.iter().filter(|(name, _)| *name != CHECKPOINT_STREAM);
        others.map(|(name, head)| (name.clone(), *head)).collect()
    };
    let (then, now): (Heads, Heads) = (of_others(&before.heads), of_others(heads));
    (then == now && last.key == *signer.verifier()).then(|| last.clone())
}

fn bodies(before: &History, heads: &Heads, sealed: &Sealed) -> Result<Vec<Vec<u8>>, Fault> {
    let is_new = |(name, head): &(&String, &_)| before.heads.get(*name) != Some(*head);
    let changed: Vec<_> = heads
        .iter()
        .filter(is_new)
        .map(|(name, (count, hash))| (name.clone(), *count, hash.to_string()))
        .collect();
    let mut bodies: Vec<_> = changed
        .chunks(CHECKPOINT_HEADS_PER_RECORD)
        .map(|heads| Body {
            version: VERSION,
            heads: heads.to_vec(),
            key: None,
            checkpoint: None,
        })
        .collect();
    if bodies.is_empty() {
        bodies.push(Body {
            version: VERSION,
            heads: Vec::new(),
            key: None,
            checkpoint: None,
        });
    }
    if let Some(last) = bodies.last_mut() {
        let is_known = before.key.as_ref() == Some(&sealed.key);
        last.key = (!is_known).then(|| sealed.key.to_string());
        last.checkpoint = Some(sealed.file.clone());
    }
    let encoded = bodies.iter().map(serde_json::to_vec).collect();
    let encode = |_| InternalFault::Impossible("a checkpoint can't be written as JSON").into();
    Result::<_, serde_json::Error>::map_err(encoded, encode)
}
