//! The checkpoints that the ledger holds, read again from its records.

use baytrim_checkpoint::{Checkpoint, Verifier};
use baytrim_ledger::{Hash, Head, Store, StoreFault, StreamName};
use serde::{Deserialize, Serialize};

use super::{CHECKPOINT_STREAM, Heads, Sealed, leaves, store_fault, unreadable};
use crate::fault::{Fault, InternalFault};

/// Version of the records below.
pub(super) const VERSION: u8 = 1;
/// Records that are read at a time.
const READ_RECORDS: usize = 256;

/// A record of the stream: heads that are others than at the checkpoint before, and in the last record of an
/// append the checkpoint over all heads so far.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Body {
    pub(super) version: u8,
    /// Stream, count of records, hash of the last one.
    pub(super) heads: Vec<(String, u64, String)>,
    /// The public key of this checkpoint and those to come, where it is another than before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) key: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) checkpoint: Option<String>,
}

/// What the records of checkpoints tell.
#[derive(Debug, Clone)]
pub struct History {
    /// Head of their stream.
    pub head: Head,
    /// Heads as of the last record.
    pub heads: Heads,
    /// Checkpoints.
    pub count: u64,
    /// The key of the last one.
    pub key: Option<Verifier>,
    /// The last one.
    pub last: Option<Sealed>,
}

/// Returns the stream's name.
pub(super) fn stream() -> StreamName {
    StreamName::new(CHECKPOINT_STREAM).expect("a good name")
}

/// Reads all records of checkpoints; `visit` is told each with all heads that it signed.
///
/// # Errors
/// The store's fault, records that are none of checkpoints, or what `visit` says.
pub fn fold(
    store: &dyn Store,
    visit: &mut dyn FnMut(&Sealed, &Heads) -> Result<(), Fault>,
) -> Result<History, Fault> {
    walk(store, &mut |_, sealed, heads| visit(sealed, heads))
}

type Visit<'a> = dyn FnMut(&[(String, u64, Hash)], &Sealed, &Heads) -> Result<(), Fault> + 'a;

fn walk(store: &dyn Store, visit: &mut Visit<'_>) -> Result<History, Fault> {
    let mut history = History {
        head: Head::EMPTY,
        heads: Heads::new(),
        count: 0,
        key: None,
        last: None,
    };
    let mut changed = Vec::new();
    loop {
        let records = store.read(&stream(), history.head.next_seq, READ_RECORDS)?;
        if records.is_empty() {
            return Ok(history);
        }
        for record in &records {
            let seq = record.seq;
            let body: Body =
                serde_json::from_slice(&record.body).map_err(|error| unreadable(seq, error))?;
            if body.version != VERSION {
                return Err(unreadable(seq, "it is of a version that is not known here"));
            }
            for (name, count, hash) in body.heads {
                let hash: Hash = hash.parse().map_err(|error| unreadable(seq, error))?;
                history.heads.insert(name.clone(), (count, hash));
                changed.push((name, count, hash));
            }
            if let Some(key) = body.key {
                history.key = Some(key.parse().map_err(|error| unreadable(seq, error))?);
            }
            history.head = record.head_after();
            let Some(file) = body.checkpoint else {
                continue;
            };
            let key = history.key.clone();
            let sealed = Sealed {
                checkpoint: Checkpoint::read_unproven(&file)
                    .map_err(|error| unreadable(seq, error))?,
                file,
                key: key.ok_or_else(|| unreadable(seq, "no key was named before it"))?,
            };
            history.count += 1;
            visit(&changed, &sealed, &history.heads)?;
            changed.clear();
            history.last = Some(sealed);
        }
    }
}

/// Checks every checkpoint of the ledger: its number, its signature by the key that the ledger names, that its root
/// is that of the heads recorded with it, and that each head is in the chain of its stream. Returns how many there
/// are and the first fault.
///
/// # Errors
/// The store's fault.
pub fn check(store: &dyn Store) -> Result<(u64, Option<String>), StoreFault> {
    let (mut number, mut fault) = (0, None);
    let walked = walk(store, &mut |changed, sealed, heads| {
        number += 1;
        if fault.is_none() {
            fault = wrong(store, number, changed, sealed, heads)?;
        }
        Ok(())
    });
    match walked {
        Ok(history) => Ok((history.count, fault)),
        Err(other) => store_fault(other).map(|told| (number, fault.or(Some(told)))),
    }
}

fn wrong(
    store: &dyn Store,
    number: u64,
    changed: &[(String, u64, Hash)],
    sealed: &Sealed,
    heads: &Heads,
) -> Result<Option<String>, Fault> {
    let at = |problem: String| Ok(Some(format!("checkpoint {number}: {problem}")));
    let checkpoint = match Checkpoint::open(&sealed.file, &sealed.key) {
        Ok(checkpoint) => checkpoint,
        Err(error) => return at(error.to_string()),
    };
    let again = Checkpoint::of(number, checkpoint.time.clone(), &leaves(heads));
    if again != checkpoint {
        return at(
            "it signs other heads than those recorded with it; compare with a backup".to_owned(),
        );
    }
    for (name, count, hash) in changed {
        let stream = StreamName::new(name)
            .map_err(|_| InternalFault::Impossible("a checkpoint names no stream"))?;
        let Some(seq) = count.checked_sub(1) else {
            return at(format!("it signs an empty stream {name}"));
        };
        let found = store.read(&stream, seq, 1)?;
        match found.first().map(|record| record.hash) {
            Some(found) if found == *hash => {}
            Some(found) => {
                return at(format!(
                    "it signed {hash} as record {seq} of {name}, the ledger has {found}: history was written anew after it; compare with a backup"
                ));
            }
            None => {
                return at(format!(
                    "it signed {count} records of {name}, the ledger has fewer: its end was dropped; compare with a backup"
                ));
            }
        }
    }
    Ok(None)
}
